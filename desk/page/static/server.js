// Requests to the server that the page came from. What it refuses comes as a `Refusal` of three parts.

export class Refusal extends Error {
  constructor(status, body) {
    const error = body.error ?? body;
    super(error.what ?? "The server gave no usable answer");
    this.status = status;
    this.where = error.where ?? "";
    this.mend = error.mend ?? "";
    this.record = error; // with its figures, where it has some
    this.body = body;
  }
}

const NO_ANSWER = {
  what: "The server does not answer",
  mend: "Start `snugline serve` again; nothing you entered before is lost.",
};

export async function ask(method, path, { json, body, signal } = {}) {
  let answer;
  try {
    answer = await fetch(path, {
      method,
      signal,
      body: json === undefined ? body : JSON.stringify(json),
      headers: json === undefined ? {} : { "Content-Type": "application/json" },
    });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refusal(0, NO_ANSWER);
  }
  const text = await answer.text();
  let found = {};
  try {
    found = text ? JSON.parse(text) : {};
  } catch {
    found = { what: text.slice(0, 200) };
  }
  if (!answer.ok) throw new Refusal(answer.status, found);
  return found;
}

/** Send a file and tell how much of it has gone: `progress(0..1)`. */
export function send(method, path, file, progress) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open(method, path);
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) progress(event.loaded / event.total);
    });
    request.addEventListener("load", () => {
      let found = {};
      try {
        found = JSON.parse(request.responseText);
      } catch {
        found = { what: request.responseText.slice(0, 200) };
      }
      if (request.status < 300) resolve(found);
      else reject(new Refusal(request.status, found));
    });
    request.addEventListener("error", () => reject(new Refusal(0, NO_ANSWER)));
    request.send(file);
  });
}
