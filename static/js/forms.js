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
