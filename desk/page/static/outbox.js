// Things on their way to the server, in order. What cannot be sent now is kept, and sent when the server is back.

const TRY_AGAIN_MS = 2000;
// No answer, no session, too busy: the thing itself was not refused.
const PASSING = new Set([0, 401, 429, 502, 503, 504]);

export class Outbox {
  #hands;
  #items = [];
  #running = null;
  #failing = null; // why the last try failed, null while all is well
  #timer = null;

  /**
   * - `send(item)` sends one, or throws what has a `status`;
   * - `keep(item)` and `drop(item)` write it down and cross it out, so that it outlives the page;
   * - `answered(item, answer, last)` and `refused(item, refusal)` get how it ended;
   * - `changed()` is called when `unsent` may be another.
   */
  constructor(hands) {
    this.#hands = { wait: (act, ms) => setTimeout(act, ms), ...hands };
  }

  /** Whether nothing is on its way. */
  get empty() {
    return this.#items.length === 0;
  }

  /** How many wait for a server that does not take them, and why. */
  get unsent() {
    return this.#failing ? { count: this.#items.length, why: this.#failing } : { count: 0, why: null };
  }

  add(item) {
    this.#items.push(item);
    this.#hands.keep(item);
    return this.flush();
  }

  /** Take up what an earlier page left, ahead of all else. */
  resume(kept) {
    this.#items = [...kept, ...this.#items];
    return this.flush();
  }

  /** Try now; the promise ends when all is sent or the server does not take it. */
  flush() {
    clearTimeout(this.#timer);
    if (this.empty) return Promise.resolve();
    this.#running ??= this.#sendAll().finally(() => {
      this.#running = null;
      if (!this.empty) this.#timer = this.#hands.wait(() => this.flush(), TRY_AGAIN_MS);
      this.#hands.changed();
    });
    return this.#running;
  }

  /** Leave all to the next page; what was kept stays kept. */
  stop() {
    clearTimeout(this.#timer);
    this.#items = [];
    this.#failing = null;
  }

  async #sendAll() {
    while (!this.empty) {
      const [item] = this.#items;
      let end;
      try {
        const answer = await this.#hands.send(item);
        end = () => this.#hands.answered(item, answer, this.empty);
      } catch (refusal) {
        if (PASSING.has(refusal.status) && this.#items.includes(item)) {
          this.#failing = refusal;
          return;
        }
        end = () => this.#hands.refused(item, refusal);
      }
      this.#failing = null;
      this.#items = this.#items.filter((one) => one !== item);
      this.#hands.drop(item);
      end();
      this.#hands.changed();
    }
  }
}
