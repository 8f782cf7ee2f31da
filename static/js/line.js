// The line: registers the service worker, tells it who is here and which pages to keep, shows what
// waits to be sent, and lets nothing stay on this device when somebody signs out.
const line = document.querySelector("#line");
const workers = navigator.serviceWorker;
const EVERY = 15 * 1000; // ms between two looks whether the line is back, while something waits

async function ask(message) {
  const { active } = await workers.ready;
  return new Promise((resolve, reject) => {
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = ({ data }) => ("error" in data ? reject(new Error(data.error)) : resolve(data.result));
    active.postMessage(message, [port2]);
  });
}

// What is said on every page.

const counted = (entries, state) => entries.filter((each) => each.state === state && !each.opened);

function words({ entries, lost }) {
  const waits = counted(entries, "waiting").length, refused = counted(entries, "refused").length;
  return [
    waits ? `${waits} noted here ${waits === 1 ? "waits" : "wait"} to be sent` : "",
    refused ? `${refused} ${refused === 1 ? "was" : "were"} refused` : "",
    lost ? `${lost} noted here by somebody else could not be sent, and ${lost === 1 ? "is" : "are"} deleted` : "",
  ].filter(Boolean).join(" · ");
}

let known = { entries: [], lost: 0 };

function show(state) {
  known = state;
  const place = document.querySelector("#waits"), told = words(state);
  place.hidden = !told;
  place.querySelector("a").textContent = told;
  document.dispatchEvent(new CustomEvent("queue:changed", { detail: state }));
}

// The age of a page that is kept, which goes on growing.
function grow() {
  const asOf = document.querySelector("#as-of[data-kept-at]");
  if (!asOf) return;
  const minutes = Math.floor((Date.now() - Number(asOf.dataset.keptAt)) / 60000);
  const hours = minutes < 120 ? `${minutes} min` : `${Math.floor(minutes / 60)} h`;
  asOf.querySelector("span").textContent = `, ${minutes ? hours : "less than a minute"} ago`;
}

// What a form that may be queued says, in its own labels, for the list of what waits.
function typedIn(form) {
  let under = "";
  const told = [];
  for (const each of form.querySelectorAll("h3, legend, input, select, textarea")) {
    if (each.matches("h3")) under = `${each.textContent.trim()}: `;
    if (!each.name || each.type === "hidden" || !each.value) continue;
    if (["checkbox", "radio"].includes(each.type) && !each.checked) continue;
    const label = each.labels?.[0]?.textContent.trim().replace(/\s+/g, " ") ?? each.name;
    const value = each.type === "checkbox" || each.type === "radio" ? "" : ` ${each.value}`;
    if (each.value !== each.defaultValue || each.checked || each.required) {
      told.push(`${under}${label}${value}`);
    }
  }
  return told.join(" · ").slice(0, 1000);
}

document.addEventListener("submit", ({ target: form }) => {
  if (!form.querySelector("input[name=queued_as]")) return;
  const told = form.querySelector("input[name=queued_words]") ?? document.createElement("input");
  Object.assign(told, { type: "hidden", name: "queued_words", value: typedIn(form) });
  form.append(told);
}, true);

// Signing out: first what waits is sent, then what is on this device goes.

// A store that does not answer goes as a whole: it keeps nobody signed in.
async function deleteAll() {
  await ask({ ask: "wipe" }).catch(() => indexedDB.deleteDatabase("portaledger"));
  for (const name of await caches.keys()) if (name.startsWith("kept-")) await caches.delete(name);
  sessionStorage.clear();
}

async function signOut(form) {
  if (!navigator.onLine) {
    window.alert("Signing out needs the line. Nothing was sent or deleted.");
    return;
  }
  const { entries } = await ask({ ask: "send", eager: true }).catch(() => ({ entries: [] }));
  const left = entries.filter((each) => each.state !== "sent").length;
  const question = `${left} noted here ${left === 1 ? "is" : "are"} not sent, or refused. Signing out deletes ${left === 1 ? "it" : "them"}. Sign out?`;
  if (left && !window.confirm(question)) return;
  await deleteAll();
  form.submit();
}

document.addEventListener("submit", (event) => {
  if (!workers?.controller || !event.target.matches("[data-sign-out]")) return;
  event.preventDefault();
  signOut(event.target);
});

async function begin() {
  grow();
  await workers.register("/service-worker.js", { updateViaCache: "none" });
  const named = [...document.querySelectorAll("a[data-keep]")].map((each) => each.href);
  await ask({ ask: "here", person: line.dataset.person });
  document.addEventListener("queue:ask", async ({ detail }) => {
    await ask(detail);
    show(await ask({ ask: "state" }));
  });
  workers.addEventListener("message", async ({ data }) => {
    if (data?.queue) show(await ask({ ask: "state" }));
  });
  window.addEventListener("online", async () => show(await ask({ ask: "send", eager: true })));
  setInterval(async () => {
    grow();
    if (counted(known.entries, "waiting").length) show(await ask({ ask: "send", eager: false }));
  }, EVERY);
  show(await ask({ ask: "send", eager: true }));
  const along = [new URL("/waiting/", location).href, ...named];
  await ask({ ask: "keep", page: document.querySelector("#as-of") && location.href, along });
}

if (line && workers) begin();
