// Ask whether an evaluation has seen the readings that the server has recorded. It takes
// the answer to an upload a while only where many are sent at once.

const INTERVAL_MS = 2000;
const MAX_ATTEMPTS = 30; // the sweep evaluates what is left within a minute

const pause = (ms) => new Promise((resolve) => { setTimeout(resolve, ms); });

// Return whether the verdict is there; false where it does not come, or cannot be asked for.
export async function awaitVerdict(url, intervalMs = INTERVAL_MS) {
  for (let attempt = 0; attempt < MAX_ATTEMPTS; attempt += 1) {
    await pause(intervalMs);
    const response = await fetch(url, { credentials: "same-origin", redirect: "manual" }).catch(() => null);
    if (!response?.ok) return false;
    if ((await response.json().catch(() => ({}))).evaluated) return true;
  }
  return false;
}
