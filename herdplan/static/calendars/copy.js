// Copies the field that a button names. The button is hidden until this script listens, so that nobody taps a dead one;
// until then, and wherever copying is refused, the hint says how to copy by hand.
const HANGS_AFTER_MS = 1500; // some clipboards neither take the text nor refuse it

// The old way works in a tap without https, permission or focus; the newer one where the old one is gone.
async function copied(field) {
  field.focus();
  field.select();
  field.setSelectionRange(0, field.value.length);
  if (document.execCommand?.("copy")) return true;
  const late = new Promise((_, refuse) => setTimeout(refuse, HANGS_AFTER_MS));
  await Promise.race([navigator.clipboard.writeText(field.value), late]);
  return true;
}

document.querySelectorAll("[data-copy]").forEach((button) => {
  const said = document.querySelector("[data-copied]");
  const hint = said.textContent;
  button.addEventListener("click", async () => {
    said.textContent = (await copied(document.getElementById(button.dataset.copy)).catch(() => false)) ? "Copied." : hint;
  });
  said.textContent = "";
  button.hidden = false;
});
