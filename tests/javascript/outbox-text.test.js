import assert from "node:assert/strict";
import test from "node:test";

import { importModule } from "./page-modules.js";

const { describeCounts, describeWaiting } = await importModule("outbox-text.js");

test("one waits, several wait, none is nothing", () => {
  assert.equal(describeWaiting(1, 0), "1 reading waits");
  assert.equal(describeWaiting(1, 1), "1 reading and 1 photograph wait");
  assert.equal(describeWaiting(0, 2), "2 photographs wait");
  assert.equal(describeWaiting(0, 0), "");
});

test("what is none is not counted", () => {
  assert.equal(describeCounts(2, 0), "2 readings");
  assert.equal(describeCounts(0, 0), "");
});
