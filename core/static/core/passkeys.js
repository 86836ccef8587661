// Passkeys: asks the browser to make one, or to sign with one, and puts what it answers
// into a hidden field of the form. Without this script the password does it.
"use strict";
(() => {
  if (!window.PublicKeyCredential || !navigator.credentials) return;

  function bytes(text) {
    const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
    return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
  }

  function written(buffer) {
    const plain = String.fromCharCode(...new Uint8Array(buffer));
    return btoa(plain).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
  }

  function read(options) {
    const known = (keys = []) => keys.map((key) => ({ ...key, id: bytes(key.id) }));
    const publicKey = { ...options, challenge: bytes(options.challenge) };
    if (options.user) publicKey.user = { ...options.user, id: bytes(options.user.id) };
    if (options.excludeCredentials) publicKey.excludeCredentials = known(options.excludeCredentials);
    if (options.allowCredentials) publicKey.allowCredentials = known(options.allowCredentials);
    return { publicKey };
  }

  function told(key) {
    const response = { clientDataJSON: written(key.response.clientDataJSON) };
    for (const part of ["attestationObject", "authenticatorData", "signature", "userHandle"]) {
      if (key.response[part]) response[part] = written(key.response[part]);
    }
    if (key.response.getTransports) response.transports = key.response.getTransports();
    return JSON.stringify({ id: key.id, rawId: written(key.rawId), type: key.type, response });
  }

  async function challenge(form, address) {
    const headers = { "X-CSRFToken": form.elements.csrfmiddlewaretoken.value };
    const answer = await fetch(address, { method: "POST", headers });
    if (!answer.ok) throw new Error(`The server answered ${answer.status}.`);
    return read(await answer.json());
  }

  // One press, one question: the button rests until it is answered.
  function ask(button, status, form, question, instead) {
    button.addEventListener("click", async () => {
      const password = form.elements.password;
      if (password) password.required = false;
      const complete = form.reportValidity();
      if (password) password.required = true;
      if (!complete) return;
      button.disabled = true;
      status.textContent = "Your device asks you now.";
      try {
        form.elements.assertion.value = told(await question());
        status.textContent = "";
        if (password) password.required = false;
        form.requestSubmit();
      } catch {
        status.textContent = instead;
      }
      button.disabled = false;
    });
  }

  // What was signed holds once: a page gone back to begins anew.
  window.addEventListener("pageshow", () => {
    for (const field of document.querySelectorAll("[name=assertion]")) field.value = "";
    for (const field of document.querySelectorAll("form:has([name=assertion]) [name=password]")) field.required = true;
  });

  for (const offer of document.querySelectorAll("[data-passkey]")) {
    const form = offer.closest("form");
    const question = async () => navigator.credentials.get(await challenge(form, offer.dataset.passkey));
    ask(offer.querySelector("button"), offer.querySelector("[role=status]"), form, question,
      "No passkey was used. Try again, or give your password.");
    offer.hidden = false;
  }

  for (const form of document.querySelectorAll("[data-make-passkey]")) {
    const button = form.querySelector("button");
    const status = form.querySelector("[role=status]");
    const options = read(JSON.parse(form.dataset.makePasskey));
    ask(button, status, form, () => navigator.credentials.create(options),
      "No passkey was made. Try again, on this device or another.");
    status.textContent = "";
    button.hidden = false;
  }
})();
