// Signing with a passkey: asks it what the page was given to ask, and sends the form with its answer.
(async () => {
  const said = document.getElementById("passkey-status");
  const field = document.querySelector('input[name="passkey"]');
  const publicKey = JSON.parse(document.getElementById("passkey-options").textContent);
  try {
    const answer = await window.webauthnJSON.get({ publicKey });
    field.value = JSON.stringify(answer);
    said.textContent = "Confirmed: it is being signed.";
    field.form.submit();
  } catch (error) {
    const { instead } = said.dataset;
    const numbered = /^[\d.]+$|:/.test(location.hostname);
    said.textContent = numbered
      ? "Browsers ask passkeys at a named address only, such as localhost. Nothing is signed."
      : `The passkey did not answer. Nothing is signed: ask it again${instead && `, or sign ${instead}`}.`;
  }
})();
