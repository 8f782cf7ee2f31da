// The page of what was noted on this device: what waits, what was refused and what was sent.
// It asks through static/js/line.js, which hears what the service worker says.
const ask = (message) => document.dispatchEvent(new CustomEvent("queue:ask", { detail: message }));

const made = (tag, text, className = "") => Object.assign(document.createElement(tag), { textContent: text, className });
const clock = (moment) => new Date(moment).toLocaleString("en-GB", {
  weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit",
});

// The server's own words, from the page it answered with.
function refusal({ page }) {
  const answer = new DOMParser().parseFromString(page, "text/html");
  const told = answer.querySelectorAll(".error-summary li, .notice, .problem-message, main .lede");
  return [...told].map((each) => each.textContent.trim().replace(/\s+/g, " ")).join(" ")
    || answer.querySelector("h1")?.textContent.trim()
    || "The program failed at this several times.";
}

// As the page's own form sent it: what is wrong is told there, beside what was typed.
function sendAgain(entry) {
  const form = Object.assign(document.createElement("form"), { method: "post", action: entry.address });
  for (const [name, value] of entry.pairs) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  }
  document.body.append(form);
  form.submit();
}

function button(text, act, quiet = true) {
  const made_ = made("button", text, quiet ? "button button-quiet" : "button");
  made_.type = "button";
  made_.addEventListener("click", act);
  return made_;
}

function buttons(entry) {
  const place = made("p", "", "buttons");
  if (entry.state === "refused") place.append(button("Open it again", () => sendAgain(entry), false));
  if (entry.state === "sent" && entry.leadsTo) {
    place.append(Object.assign(made("a", "Look at it", "button button-quiet"), { href: entry.leadsTo }));
  }
  if (entry.state === "waiting" && entry.from) {
    place.append(Object.assign(made("a", "Back to its page", "button button-quiet"), { href: entry.from }));
  }
  if (entry.state !== "waiting") {
    place.append(button("Take off this list", () => ask({ ask: "forget", number: entry.number })));
  }
  return place;
}

function item(entry) {
  const place = made("li", "");
  const again = entry.again ? `, tapped again: kept once` : "";
  const sent = entry.sentAt ? `, sent ${clock(entry.sentAt)}` : "";
  place.append(made("h3", entry.name || "Noted"), made("p", `${clock(entry.madeAt)}${again}${sent}`, "soft"));
  if (entry.words) place.append(made("p", entry.words));
  if (entry.state === "refused") place.append(made("p", refusal(entry), "note"));
  if (entry.said?.length) place.append(made("p", entry.said.join(" "), "note"));
  place.append(buttons(entry));
  return place;
}

function show({ entries, lost }) {
  for (const list of document.querySelectorAll("[data-queue]")) {
    const held = entries.filter((each) => each.state === list.dataset.queue);
    list.replaceChildren(...held.map(item));
    list.closest("section").hidden = held.length === 0;
  }
  document.querySelector("#nothing").hidden = entries.length > 0;
  document.querySelector("#send-now").hidden = !entries.some((each) => each.state === "waiting");
  document.querySelector("#lost").hidden = !lost;
}

document.addEventListener("queue:changed", (event) => show(event.detail));
document.querySelector("#send-now").addEventListener("click", () => ask({ ask: "send", eager: true }));
document.querySelector("#lost button").addEventListener("click", () => ask({ ask: "forget", number: 0 }));
