// Passkeys: create one or sign with one, and put the browser's answer into a hidden field
// of the form. Without this script the password works alone.

function decodeBase64Url(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
}

function encodeBase64Url(buffer) {
  const plain = String.fromCharCode(...new Uint8Array(buffer));
  return btoa(plain).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

function decodeOptions(options) {
  const decodeIds = (keys = []) => keys.map((key) => ({ ...key, id: decodeBase64Url(key.id) }));
  const publicKey = { ...options, challenge: decodeBase64Url(options.challenge) };
  if (options.user) publicKey.user = { ...options.user, id: decodeBase64Url(options.user.id) };
  if (options.excludeCredentials) publicKey.excludeCredentials = decodeIds(options.excludeCredentials);
  if (options.allowCredentials) publicKey.allowCredentials = decodeIds(options.allowCredentials);
  return { publicKey };
}

function encodeCredential(key) {
  const response = { clientDataJSON: encodeBase64Url(key.response.clientDataJSON) };
  for (const part of ["attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (key.response[part]) response[part] = encodeBase64Url(key.response[part]);
  }
  if (key.response.getTransports) response.transports = key.response.getTransports();
  return JSON.stringify({ id: key.id, rawId: encodeBase64Url(key.rawId), type: key.type, response });
}

async function fetchChallenge(form, address) {
  const headers = { "X-CSRFToken": form.elements.csrfmiddlewaretoken.value };
  const answer = await fetch(address, { method: "POST", headers });
  if (!answer.ok) throw new Error(`The server answered ${answer.status}.`);
  return decodeOptions(await answer.json());
}

// The button is disabled until the browser answers: one request at a time.
function attach(button, status, form, request, failure) {
  button.addEventListener("click", async () => {
    const password = form.elements.password;
    if (password) password.required = false;
    const complete = form.reportValidity();
    if (password) password.required = true;
    if (!complete) return;
    button.disabled = true;
    status.textContent = "Confirm on your device.";
    try {
      form.elements.assertion.value = encodeCredential(await request());
      status.textContent = "";
      if (password) password.required = false;
      form.requestSubmit();
    } catch {
      status.textContent = failure;
    }
    button.disabled = false;
  });
}

if (window.PublicKeyCredential && navigator.credentials) {
  // An assertion is valid once: clear it when the page is shown again.
  window.addEventListener("pageshow", () => {
    for (const field of document.querySelectorAll("[name=assertion]")) field.value = "";
    for (const field of document.querySelectorAll("form:has([name=assertion]) [name=password]")) field.required = true;
  });

  for (const part of document.querySelectorAll("[data-passkey]")) {
    const form = part.closest("form");
    const request = async () => navigator.credentials.get(await fetchChallenge(form, part.dataset.passkey));
    attach(part.querySelector("button"), part.querySelector("[role=status]"), form, request,
      "No passkey was used. Try again, or enter your password.");
    part.hidden = false;
  }

  for (const form of document.querySelectorAll("[data-make-passkey]")) {
    const button = form.querySelector("button");
    const status = form.querySelector("[role=status]");
    const options = decodeOptions(JSON.parse(form.dataset.makePasskey));
    attach(button, status, form, () => navigator.credentials.create(options),
      "No passkey was created. Try again, on this device or another.");
    status.textContent = "";
    button.hidden = false;
  }
}
