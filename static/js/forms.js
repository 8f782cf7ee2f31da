// Forms: lead the eye to what is to be put right, and keep what has been typed from being lost.
document.querySelector("[data-focus]")?.focus();

const unsaved = new Set();

document.addEventListener("input", (event) => {
  const form = event.target.closest("form[data-guard]");
  if (form) unsaved.add(form);
});

document.addEventListener("submit", (event) => unsaved.delete(event.target));

window.addEventListener("beforeunload", (event) => {
  if (unsaved.size > 0) event.preventDefault();
});

// A second tap sends nothing: the first is on its way. Coming back to the page frees its buttons.
document.addEventListener(
  "submit",
  (event) => {
    if (!event.target.dataset.sent) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  },
  true,
);

const buttonsOf = (form) => form.querySelectorAll("button:not([type=button])");

window.addEventListener("submit", (event) => {
  if (event.defaultPrevented || event.target.method !== "post") return;
  event.target.dataset.sent = "now";
  buttonsOf(event.target).forEach((button) => button.setAttribute("aria-disabled", "true"));
});

const freeAll = () => {
  document.querySelectorAll("form[data-sent]").forEach((form) => {
    form.removeAttribute("data-sent");
    buttonsOf(form).forEach((button) => button.removeAttribute("aria-disabled"));
  });
};

window.addEventListener("pageshow", freeAll);
document.addEventListener("htmx:afterRequest", freeAll);

for (const done of document.querySelectorAll("[data-draft-done]")) {
  sessionStorage.removeItem(`draft ${done.dataset.draftDone}`);
}

// A long form filled on the way round a bar outlives a reload; sending it or signing out ends that.
for (const form of document.querySelectorAll("form[data-draft]")) {
  const place = `draft ${form.dataset.draft}`;
  const boxes = [...form.querySelectorAll("input:not([type=hidden]), select, textarea")];
  const kept = JSON.parse(sessionStorage.getItem(place) ?? "{}");
  for (const box of boxes) {
    if (!(box.name in kept)) continue;
    if (box.type === "checkbox") box.checked = kept[box.name];
    else box.value = kept[box.name];
    box.closest("details")?.setAttribute("open", "");
  }
  form.addEventListener("input", () => {
    const typed = boxes
      .map((box) => [box.name, box.type === "checkbox" ? box.checked : box.value])
      .filter(([, value]) => value);
    sessionStorage.setItem(place, JSON.stringify(Object.fromEntries(typed)));
  });
}

window.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return;
  const draft = event.target.dataset.draft;
  // Where sending may only try something out, the page it leads to says that the draft is done.
  if (draft && event.target.dataset.draftUntil !== "done") sessionStorage.removeItem(`draft ${draft}`);
  if (event.target.matches("[data-sign-out]")) sessionStorage.clear();
});

// On a round the next slot comes by itself.
document.addEventListener("change", (event) => {
  if (!event.target.checked || !event.target.name.endsWith("-as_shown")) return;
  const ticks = [...event.target.form.querySelectorAll("input[name$='-as_shown']")];
  const next = ticks.slice(ticks.indexOf(event.target) + 1).find((tick) => !tick.checked);
  const on = next ?? event.target.form.querySelector("button[type=submit]");
  on.focus({ preventScroll: true });
  on.scrollIntoView({ block: "center" });
});
