// Adds this browser to the person's push channels.
document.addEventListener("DOMContentLoaded", () => {
  const button = document.querySelector("[data-push]");
  const said = document.querySelector("[data-push-said]");
  if (!button) return;
  if (!("serviceWorker" in navigator) || !("PushManager" in window)) {
    button.disabled = true;
    said.textContent = "This browser takes no push messages. On a phone, put the site on the home screen and open it there.";
    return;
  }
  const bytes = (text) => {
    const padded = text.replace(/-/g, "+").replace(/_/g, "/") + "=".repeat((4 - (text.length % 4)) % 4);
    return Uint8Array.from(atob(padded), (letter) => letter.charCodeAt(0));
  };
  const label = () => {
    const kinds = [["iPhone|iPad", "Phone or tablet"], ["Android", "Phone"], ["Mac|Windows|Linux", "Computer"]];
    const found = kinds.find(([pattern]) => new RegExp(pattern).test(navigator.userAgent));
    return found ? found[1] : "A browser";
  };
  button.addEventListener("click", async () => {
    said.textContent = "";
    try {
      if ((await Notification.requestPermission()) !== "granted") {
        said.textContent = "The browser does not allow messages from this site. Allow them in its settings, then try again.";
        return;
      }
      const worker = await navigator.serviceWorker.register(button.dataset.pushWorker);
      await navigator.serviceWorker.ready;
      const subscription = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(button.dataset.push) });
      const answer = await fetch(button.dataset.pushTo, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": button.dataset.pushToken },
        body: JSON.stringify({ ...subscription.toJSON(), label: label() }),
      });
      if (!answer.ok) throw new Error((await answer.json()).error);
      window.location.reload();
    } catch (fault) {
      said.textContent = `Not added: ${fault.message}`;
    }
  });
});
