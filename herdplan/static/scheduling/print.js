// Shows the print button where there is a script to serve it.
document.addEventListener("DOMContentLoaded", () => {
  for (const button of document.querySelectorAll("[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  }
});
