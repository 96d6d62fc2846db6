// Shows pushed messages while the site is closed. A repeat has the same tag and replaces the first one.
self.addEventListener("push", (event) => {
  const message = event.data ? event.data.json() : {};
  const options = {
    body: message.body || "",
    tag: message.tag,
    data: { link: message.link || "/", seen: message.seen || "" },
    requireInteraction: Boolean(message.seen),
    actions: message.seen ? [{ action: "seen", title: "I have seen this" }] : [],
  };
  event.waitUntil(self.registration.showNotification(message.title || "herdplan", options));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const { link, seen } = event.notification.data;
  const open = () => self.clients.openWindow(new URL(link, self.location.origin).href);
  if (event.action !== "seen" || !seen) {
    event.waitUntil(open());
    return;
  }
  // One tap on the lock screen says it; where that fails, the page with the button opens.
  const said = fetch(new URL(seen, self.location.origin).href, { method: "POST" });
  event.waitUntil(said.then((answer) => (answer.ok ? undefined : open()), open));
});

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
