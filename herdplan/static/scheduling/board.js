// Opens the board at today, or before and after the season at its first chute trip.
document.addEventListener("DOMContentLoaded", () => {
  const board = document.querySelector("[data-board]");
  if (!board) return;
  const days = [...board.querySelectorAll("th[data-day]")];
  const today = new Date().toLocaleDateString("sv");
  let column = days.find((day) => day.dataset.day === today);
  if (!column) {
    const cells = [...board.querySelectorAll(".act--treat, .act--ai")].map((act) => act.closest("td").cellIndex);
    column = days[Math.min(...cells) - 1];
  }
  const names = board.querySelector(".board__who");
  if (column && names) board.scrollLeft = column.offsetLeft - names.offsetWidth - 8;
});
