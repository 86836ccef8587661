import assert from "node:assert/strict";
import { createServer } from "node:http";
import test from "node:test";

import { importModule } from "./page-modules.js";

const { awaitVerdict } = await importModule("verdict-follow-up.js");

// Serve these answers one after the other; return how many were asked for.
async function serve(answers, use) {
  let asked = 0;
  const server = createServer((request, response) => {
    const [status, body] = answers[Math.min(asked, answers.length - 1)];
    asked += 1;
    response.writeHead(status, { "Content-Type": "application/json", Location: "/sign-in" });
    response.end(body);
  });
  await new Promise((resolve) => { server.listen(0, "127.0.0.1", resolve); });
  try {
    await use(`http://127.0.0.1:${server.address().port}/`);
  } finally {
    server.closeAllConnections();
    server.close();
  }
  return asked;
}

test("a verdict that follows is asked for until it is there", async () => {
  const pending = [200, '{"evaluated": false}'];
  const asked = await serve([pending, pending, [200, '{"evaluated": true}']], async (url) => {
    assert.equal(await awaitVerdict(url, 1), true);
  });
  assert.equal(asked, 3);
});

test("asking ends where a person is signed out, or the verdict does not come", async () => {
  assert.equal(await serve([[302, ""]], async (url) => assert.equal(await awaitVerdict(url, 1), false)), 1);
  const never = [[200, '{"evaluated": false}']];
  assert.equal(await serve(never, async (url) => assert.equal(await awaitVerdict(url, 1), false)), 30);
});

test("without a network nothing is asked again", async () => {
  assert.equal(await awaitVerdict("http://127.0.0.1:1/", 1), false);
});
