// Writes the notices of everything that is in the bundle.

import { existsSync, readFileSync, readdirSync, writeFileSync } from "node:fs";

const { dependencies } = JSON.parse(readFileSync("package.json", "utf8"));
const seen = new Map();
function visit(name) {
  if (seen.has(name)) return;
  const folder = `node_modules/${name}`, told = JSON.parse(readFileSync(`${folder}/package.json`, "utf8"));
  const file = readdirSync(folder).find((each) => /^licen[cs]e/i.test(each));
  seen.set(name, `${name} ${told.version} (${told.license})\n\n${file && existsSync(`${folder}/${file}`) ? readFileSync(`${folder}/${file}`, "utf8").trim() : ""}`);
  Object.keys(told.dependencies ?? {}).forEach(visit);
}
Object.keys(dependencies).forEach(visit);
const head = "editor.js is made from lessons/live/editor and from these packages.\n";
writeFileSync("../page/NOTICES.txt", `${head}\n${[...seen.values()].join("\n\n----\n\n")}\n`);
