import assert from "node:assert/strict";
import { createServer } from "node:http";
import test from "node:test";

import { importModule } from "./page-modules.js";

// What an upload needs of a browser: its storage, a cookie, and no room for photographs.
class Storage {
  getItem(key) { return Object.hasOwn(this, key) ? this[key] : null; }

  setItem(key, value) { this[key] = value; }

  removeItem(key) { delete this[key]; }
}
globalThis.localStorage = new Storage();
globalThis.document = { cookie: "csrftoken=abc", querySelector: () => null };
globalThis.indexedDB = {
  open() {
    const request = { error: new Error("no room") };
    queueMicrotask(() => request.onerror());
    return request;
  },
};

const { saveReading, listWaitingReadings } = await importModule("reading-outbox.js");
const { syncOutbox } = await importModule("sync.js");

// Upload one reading to a server with this answer; return what the page is told at the end.
async function upload(answer) {
  const server = createServer((request, response) => {
    request.resume();
    request.on("end", () => response.end(JSON.stringify(answer)));
  });
  await new Promise((resolve) => { server.listen(0, "127.0.0.1", resolve); });
  const to = `http://127.0.0.1:${server.address().port}/buildings/1/readings/`;
  saveReading({ entry: { id: "r1" }, person: "7", building: "1", to, state: "waiting", order: 1 });
  const progress = [];
  try {
    await syncOutbox("7", (...each) => progress.push(each));
  } finally {
    server.closeAllConnections();
    server.close();
  }
  return progress.at(-1);
}

test("a recorded reading leaves the phone though its verdict follows", async () => {
  const followUp = "/buildings/1/evaluation/?change=4";
  const [note, hasMoved, followUps] = await upload({ known: ["r1"], refused: {}, follow_up: followUp });
  assert.deepEqual([note, hasMoved, followUps], ["", true, [followUp]]);
  assert.deepEqual(listWaitingReadings("7"), []);
});

test("nothing is asked for where the verdict came with the answer", async () => {
  const [, hasMoved, followUps] = await upload({ known: ["r1"], refused: {} });
  assert.deepEqual([hasMoved, followUps], [true, []]);
});
