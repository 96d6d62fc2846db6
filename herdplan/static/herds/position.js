// Fills the two coordinate fields from the phone's own position.
document.addEventListener("DOMContentLoaded", () => {
  const button = document.querySelector("[data-position]");
  if (!button || !navigator.geolocation) return;
  const [lat, lon] = button.dataset.position.split(" ").map((id) => document.getElementById(id));
  const said = document.querySelector("[data-position-said]");
  button.hidden = false;
  button.addEventListener("click", () => {
    said.textContent = "Asking the phone …";
    navigator.geolocation.getCurrentPosition(
      (position) => {
        lat.value = position.coords.latitude.toFixed(5);
        lon.value = position.coords.longitude.toFixed(5);
        said.textContent = "Position taken. Save to keep it.";
      },
      () => { said.textContent = "The phone gave no position. Type the numbers from a map."; },
      { enableHighAccuracy: true, timeout: 15000 },
    );
  });
});
