// Which pages a report has, and which of them stand for the others.
"use strict";
const fs = require("node:fs");
const path = require("node:path");

// Every page below the report's folder, by its path there, sorted.
function pages(report) {
  const found = fs.readdirSync(report, { recursive: true });
  return found.filter((name) => name.endsWith(".html")).map((name) => name.split(path.sep).join("/")).sort();
}

// Index, research, the largest grower page, the largest and the smallest field page: what is richest and what is barest.
function chosen(report) {
  const all = pages(report);
  const bySize = (folder) => {
    const size = (name) => fs.statSync(path.join(report, name)).size;
    return all.filter((name) => name.startsWith(folder)).sort((a, b) => size(b) - size(a) || (a < b ? -1 : 1));
  };
  const fields = bySize("fields/");
  const wanted = ["index.html", bySize("growers/")[0], fields[0], fields[fields.length - 1], "research.html"];
  return [...new Set(wanted)].filter((name) => all.includes(name));
}

module.exports = { pages, chosen };
