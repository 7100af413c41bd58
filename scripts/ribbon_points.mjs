// The ribbon's pyramid of least and greatest against looking at every point: `node scripts/ribbon_points.mjs`.
import { readFileSync } from "node:fs";

const source = readFileSync(new URL("../crates/server/assets/ribbon.js", import.meta.url), "utf8");
const from = source.indexOf("  const FAN"), to = source.indexOf("  let points = new Points");
const Points = new Function(`${source.slice(from, to)}; return Points;`)();

const COUNT = 100_000;
const points = new Points();
const watts = new Float32Array(COUNT);
for (let i = 0; i < COUNT; i++) {
  watts[i] = Math.random() * 2000;
  points.add(100 * i + 1, watts[i]);
}
for (let n = 0; n < 2000; n++) {
  const a = Math.floor(Math.random() * COUNT);
  const b = Math.min(COUNT, a + 1 + Math.floor(Math.random() * (n % 2 ? 60 : COUNT)));
  const [least, most] = points.range(a, b);
  const all = watts.subarray(a, b);
  if (least !== all.reduce((x, y) => Math.min(x, y)) || most !== all.reduce((x, y) => Math.max(x, y))) {
    throw new Error(`points ${a} to ${b} are told wrong`);
  }
}
const ROWS = 600, FRAMES = 100;
const begun = performance.now();
for (let frame = 0; frame < FRAMES; frame++) {
  for (let row = 0; row < ROWS; row++) points.range(points.from((row / ROWS) * COUNT * 100), points.from(((row + 1) / ROWS) * COUNT * 100));
}
console.log(`all ${COUNT} points on ${ROWS} rows: ${((performance.now() - begun) / FRAMES).toFixed(2)} ms a drawing, canvas apart`);
