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
