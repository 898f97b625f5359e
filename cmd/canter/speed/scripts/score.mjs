// What a practitioner would write: read FIT files with a general library, take
// the highest 60-s mean for HRex, and the drop in the minute after its end.
import { readFile } from "node:fs/promises";
import FitParser from "fit-file-parser";

const Parser = FitParser.default ?? FitParser;

for (const name of process.argv.slice(2)) {
  const parser = new Parser({ force: true, mode: "list" });
  let data;
  try {
    data = await parser.parseAsync(await readFile(name));
  } catch (e) { // a season has the odd file that breaks off
    console.log(name, "can't be read:", e);
    continue;
  }
  const at = [], hr = [];
  for (const r of data.records) {
    if (r.heart_rate > 0) {
      at.push(r.timestamp.getTime() / 1000);
      hr.push(r.heart_rate);
    }
  }
  let best = 0, end = 0, sum = 0;
  for (let from = 0, to = 0; to < hr.length; to++) {
    sum += hr[to];
    while (at[to] - at[from] >= 60) sum -= hr[from++];
    const mean = sum / (to - from + 1);
    if (at[to] - at[0] > 60 && mean > best) {
      best = mean;
      end = to;
    }
  }
  const after = at.findIndex((t) => t >= at[end] + 60);
  console.log(name, best.toFixed(1), after < 0 ? "" : hr[end] - hr[after]);
}
