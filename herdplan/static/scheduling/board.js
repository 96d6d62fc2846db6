// Opens the board at today, or before and after the season at its first AI days.
document.addEventListener("DOMContentLoaded", () => {
  const board = document.querySelector("[data-board]");
  if (!board) return;
  const days = [...board.querySelectorAll("th[data-day]")];
  const today = new Date().toLocaleDateString("sv");
  let column = days.find((day) => day.dataset.day === today);
  if (!column) {
    const cells = [...board.querySelectorAll(".act--ai")].map((act) => act.closest("td").cellIndex).sort((a, b) => a - b);
    column = days[Math.max(0, (cells[0] ?? 1) - 3)];
  }
  const names = board.querySelector(".board__who");
  if (column && names) board.scrollLeft = column.offsetLeft - names.offsetWidth - 8;
});
