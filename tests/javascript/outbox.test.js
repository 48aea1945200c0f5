// Changes on their way: in order, kept while the server does not take them, never sent twice by themselves.

import assert from "node:assert/strict";
import { test } from "node:test";

import { Outbox } from "../../desk/page/static/outbox.js";

/** An outbox whose server answers as told: a status for each try, 200 where none is left. */
function made(statuses) {
  const log = { sent: [], kept: [], dropped: [], answered: [], refused: [], waits: [] };
  const outbox = new Outbox({
    async send(item) {
      const status = statuses.shift() ?? 200;
      log.sent.push(`${item.name} ${status}`);
      if (status !== 200) throw Object.assign(new Error("no"), { status });
      return { revision: item.name };
    },
    keep: ({ name }) => log.kept.push(name),
    drop: ({ name }) => log.dropped.push(name),
    answered: ({ name }, answer, last) => log.answered.push([name, answer.revision, last]),
    refused: ({ name }, { status }) => log.refused.push([name, status]),
    changed() {},
    wait: (act, ms) => log.waits.push([act, ms]),
  });
  return { outbox, log };
}

test("all goes in order, one at a time", async () => {
  const { outbox, log } = made([]);
  outbox.add({ name: "a" });
  outbox.add({ name: "b" });
  await outbox.add({ name: "c" });
  assert.deepEqual(log.sent, ["a 200", "b 200", "c 200"]);
  assert.deepEqual(log.kept, ["a", "b", "c"]);
  assert.deepEqual(log.dropped, ["a", "b", "c"]);
  assert.deepEqual(log.answered.at(-1), ["c", "c", true]);
  assert.deepEqual(
    log.answered.map(([, , last]) => last),
    [false, false, true],
  ); // only the last job is the newest
  assert.ok(outbox.empty && outbox.unsent.count === 0);
});

test("without an answer nothing is lost, and it goes on when the server is back", async () => {
  const { outbox, log } = made([0, 503]);
  await outbox.add({ name: "a" });
  assert.equal(outbox.unsent.count, 1);
  assert.equal(outbox.unsent.why.status, 0);
  assert.deepEqual(log.dropped, []);
  assert.equal(log.waits.length, 1);
  await outbox.add({ name: "b" });
  assert.equal(outbox.unsent.count, 2);
  await log.waits.at(-1)[0]();
  assert.deepEqual(log.sent, ["a 0", "a 503", "a 200", "b 200"]);
  assert.deepEqual(log.dropped, ["a", "b"]);
  assert.equal(outbox.unsent.count, 0);
});

test("what is refused goes, and does not stop the rest", async () => {
  const { outbox, log } = made([409]);
  outbox.add({ name: "a" });
  await outbox.add({ name: "b" });
  assert.deepEqual(log.refused, [["a", 409]]);
  assert.deepEqual(log.answered, [["b", "b", true]]);
  assert.deepEqual(log.dropped, ["a", "b"]);
});

test("what an earlier page left goes first and is not written down again", async () => {
  const { outbox, log } = made([0]);
  await outbox.add({ name: "new" });
  await outbox.resume([{ name: "old" }]);
  assert.deepEqual(log.sent.slice(1), ["old 200", "new 200"]);
  assert.deepEqual(log.kept, ["new"]);
});

test("a page that is left keeps what it could not send", async () => {
  const { outbox, log } = made([0]);
  await outbox.add({ name: "a" });
  outbox.stop();
  assert.ok(outbox.empty);
  assert.deepEqual(log.dropped, []);
  await outbox.flush();
  assert.deepEqual(log.sent, ["a 0"]);
});
