// Copies the field that a button names.
document.addEventListener("DOMContentLoaded", () => {
  document.querySelectorAll("[data-copy]").forEach((button) => {
    button.addEventListener("click", async () => {
      const field = document.getElementById(button.dataset.copy);
      const said = document.querySelector("[data-copied]");
      field.select();
      try {
        await navigator.clipboard.writeText(field.value);
        said.textContent = "Copied.";
      } catch {
        said.textContent = "Press long on the address and choose copy.";
      }
    });
  });
});
