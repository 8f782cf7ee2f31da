// Small helps that a page works without: print and copy. Buttons stay hidden until they work.
for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

for (const button of document.querySelectorAll("button[data-copy]")) {
  if (!navigator.clipboard) continue;
  button.hidden = false;
  button.addEventListener("click", async () => {
    const source = document.querySelector(button.dataset.copy);
    await navigator.clipboard.writeText(source.dataset.copyText ?? source.textContent.trim());
    button.textContent = "Copied";
  });
}
