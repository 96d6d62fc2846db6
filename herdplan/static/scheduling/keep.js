// Ticks survive a lost signal: what cannot be sent is kept on this phone and sent from the next page that has signal.
const KEPT = "herdplan-kept";
const WAIT_MS = 8000;

const read = () => JSON.parse(localStorage.getItem(KEPT) || "[]");
const write = (rows) => localStorage.setItem(KEPT, JSON.stringify(rows));
const token = () => JSON.parse(document.body.getAttribute("hx-headers") || "{}")["x-csrftoken"] || "";
const who = () => document.body.dataset.who || "";

// True where the server took it, false where it wants something else (another hour, signing in); it throws where there is no signal.
async function send(row) {
  const body = new URLSearchParams({ ...row.said, csrfmiddlewaretoken: token() });
  const headers = { "X-Kept": "1" };
  const answer = await fetch(row.url, { method: "POST", body, headers, redirect: "manual", signal: AbortSignal.timeout(WAIT_MS) });
  if (answer.status >= 500) throw new Error("the server is busy");
  return answer.status === 204;
}

function say(kind, text, link) {
  const list = document.querySelector("[data-kept]");
  const item = document.createElement("li");
  item.className = kind;
  item.textContent = `${text} `;
  if (link) item.append(Object.assign(document.createElement("a"), { href: link, textContent: "Open it" }));
  list.append(item);
  list.hidden = false;
}

function keep(row) {
  write([...read().filter((other) => other.url !== row.url), row]);
  const hour = row.said.at.replace("T", " ");
  say("warning", `No signal. "${row.what}", begun ${hour}, is kept on this phone and is sent when a page of this site has signal again.`);
}

let sending = false;
async function sendKept() {
  if (sending || !who()) return;
  sending = true;
  for (const row of read().filter((other) => other.who === who())) {
    try {
      const taken = await send(row);
      write(read().filter((other) => other.url !== row.url));
      if (taken) say("success", `Sent now: "${row.what}".`);
      else say("error", `"${row.what}" was kept on this phone and could not be saved as it is.`, row.url);
    } catch {
      say("warning", `"${row.what}" still waits on this phone for signal.`);
      break;
    }
  }
  sending = false;
}

function tickForm(link) {
  const zone = { timeZone: link.dataset.zone };
  const now = new Date().toLocaleString("sv", zone).replace(" ", "T").slice(0, 16);
  const form = Object.assign(document.createElement("form"), { className: "row", action: link.href });
  form.dataset.keep = link.dataset.what;
  form.innerHTML = '<label class="field">No signal. Begun at<input type="datetime-local" name="at" required></label><button class="btn btn--primary">It is done</button>';
  form.elements.at.value = now;
  return form;
}

async function follow(event) {
  const link = event.target.closest("a[data-tick]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  try {
    await fetch(link.href, { signal: AbortSignal.timeout(WAIT_MS) });
    location.href = link.href;
  } catch {
    link.replaceWith(tickForm(link));
  }
}

async function submit(event) {
  const form = event.target.closest("form[data-keep]");
  if (!form) return;
  event.preventDefault();
  const button = form.querySelector("button");
  if (button.disabled) return;
  button.disabled = true;
  const row = { url: form.action, said: Object.fromEntries(new FormData(form)), what: form.dataset.keep, who: who() };
  try {
    const taken = await send(row);
    if (taken && form.dataset.next) location.href = form.dataset.next;
    else if (taken) location.reload();
    else if (form.method === "post") form.submit();
    else location.href = form.action;
  } catch {
    keep(row);
    form.hidden = true;
  }
}

document.addEventListener("click", follow);
document.addEventListener("submit", submit);
window.addEventListener("online", sendKept);
document.addEventListener("DOMContentLoaded", sendKept);

// A second tap with gloves on sends nothing again.
document.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return;
  if (event.target.dataset.sent) event.preventDefault();
  event.target.dataset.sent = "yes";
  setTimeout(() => delete event.target.dataset.sent, 4000);
});
