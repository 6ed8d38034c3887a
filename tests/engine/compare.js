// Puts questions to the library inside a page and holds its answers against others'.
//
// In, as JSON on standard input: the path of a page, and cases, each a question and the answer that is wanted, as text. Out, as JSON: for
// each case null where both say the same, else where they part.
"use strict";
const fs = require("node:fs");

const AROUND = 60;

const { page, cases } = JSON.parse(fs.readFileSync(0, "utf8"));
const html = fs.readFileSync(page, "utf8");
const element = (id) => {
  const found = new RegExp(`<script[^>]* id="${id}">([^]*?)</script>`).exec(html);
  if (!found) throw new Error(`the page has no script ${id}`);
  return found[1];
};
// The page's own way to the library.
const startEngine = new Function(`${element("engine")}; return startEngine;`)();
const ask = startEngine(new WebAssembly.Module(Buffer.from(element("wasm").trim(), "base64")), () => {});

const answers = cases.map(({ question, want }) => {
  const got = JSON.stringify(ask(JSON.parse(question)));
  const wanted = JSON.stringify(JSON.parse(want));
  if (got === wanted) return null;
  let at = 0;
  while (got[at] === wanted[at]) at += 1;
  const excerpt = (text) => text.slice(Math.max(0, at - AROUND), at + AROUND);
  return `want ${excerpt(wanted)}, got ${excerpt(got)}`;
});
process.stdout.write(JSON.stringify(answers));
