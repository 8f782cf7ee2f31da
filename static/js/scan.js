// <button data-scan="#id_code" hidden>: reads a code into that field with the camera, where the
// browser can read codes by itself (BarcodeDetector); elsewhere the button stays hidden.
// What was read is only typed: whoever scanned looks at it and sends it.
const FORMATS = ["qr_code", "code_128", "code_39", "data_matrix", "ean_13"];
const PAUSE = 150; // ms between two looks

const readable = async () => {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return [];
  const known = await BarcodeDetector.getSupportedFormats();
  return FORMATS.filter((format) => known.includes(format));
};

const look = async (video, detector) => {
  while (video.isConnected) {
    const [found] = video.readyState >= 2 ? await detector.detect(video) : [];
    if (found?.rawValue) return found.rawValue;
    await new Promise((done) => setTimeout(done, PAUSE));
  }
  return "";
};

const type = (field, text) => {
  field.value = text.trim();
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.form.querySelector("button:not([type=button])")?.focus();
};

const scan = async (button, formats) => {
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  const video = document.createElement("video");
  video.className = "scan";
  video.muted = video.playsInline = true;
  video.srcObject = stream;
  button.after(video);
  try {
    await video.play();
    const text = await look(video, new BarcodeDetector({ formats }));
    if (text) type(document.querySelector(button.dataset.scan), text);
  } finally {
    stream.getTracks().forEach((track) => track.stop());
    video.remove();
  }
};

const offer = (button, formats) => {
  const words = button.textContent;
  button.hidden = false;
  button.addEventListener("click", async () => {
    const running = button.parentElement.querySelector("video.scan");
    if (running) {
      running.remove();
      return;
    }
    button.textContent = "Stop the camera";
    try {
      await scan(button, formats);
      button.textContent = words;
    } catch {
      button.textContent = "The camera can't be used: type the lot";
    }
  });
};

const formats = await readable();
if (formats.length) {
  document.querySelectorAll("button[data-scan]").forEach((button) => offer(button, formats));
}
