// Answers statements, one a line of standard input as JSON {sql, format}, with
// a line each on file descriptor 3: {out} or {error}. Standard output is the
// engine's own. Ends with its input.
"use strict";
const fs = require("fs");
const readline = require("readline");
const { Session } = require("chdb");

const session = new Session(process.argv[1], { connectionArgs: process.argv.slice(2) });
const answer = (a) => fs.writeSync(3, JSON.stringify(a) + "\n");
answer({ out: "ready" });
const lines = readline.createInterface({ input: process.stdin, crlfDelay: Infinity });
lines.on("line", (line) => {
  const { sql, format } = JSON.parse(line);
  try {
    answer({ out: session.query(sql, format) });
  } catch (e) {
    answer({ error: e.message });
  }
});
lines.on("close", () => process.exit(0));
