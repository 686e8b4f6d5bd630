// Whether a choice in the filter shows what it names and hides what it does not.
"use strict";
const fs = require("node:fs");
const path = require("node:path");
const { check, skip } = require("./say.cjs");

// Rows of a CSV table as objects; cells may be quoted.
function rows(file) {
  const table = [[""]];
  let quoted = false;
  const text = fs.readFileSync(file, "utf8");
  for (let place = 0; place < text.length; place += 1) {
    const letter = text[place];
    const row = table[table.length - 1];
    if (quoted && letter === '"' && text[place + 1] === '"') {
      row[row.length - 1] += '"';
      place += 1;
    } else if (letter === '"') quoted = !quoted;
    else if (!quoted && letter === ",") row.push("");
    else if (!quoted && letter === "\n") table.push([""]);
    else if (quoted || letter !== "\r") row[row.length - 1] += letter;
  }
  const names = table.shift();
  return table.filter((row) => row.length === names.length).map((row) => Object.fromEntries(row.map((cell, place) => [names[place], cell])));
}

// What the page holds that a filter can hide: its values, and whether it is seen.
function parts(page) {
  return page.$$eval("[data-season],[data-condition],[data-planter]", (all) => {
    const keys = ["season", "condition", "planter"];
    const values = (part, key) => (part.getAttribute(`data-${key}`) || "").split("|").filter(Boolean);
    const chain = (part) => (part === null ? [] : [part, ...chain(part.parentElement)]);
    return all.map((part) => ({
      // What it says of itself, and what the parts say in which it lies.
      told: chain(part).map((one) => Object.fromEntries(keys.map((key) => [key, values(one, key)]))),
      seen: part.getBoundingClientRect().height > 0,
      words: part.textContent.replace(/\s+/g, " ").trim().slice(0, 60),
      inFields: part.matches("#fields tr"),
    }));
  });
}

const fits = (told, choice) =>
  told.every((one) => Object.entries(choice).every(([key, value]) => value === "" || one[key].length === 0 || one[key].includes(value)));

async function filters(reader, names, results) {
  const seasons = rows(path.join(results, "field_seasons.csv"));
  let tried = 0;
  for (const name of names) {
    const page = await reader.open(name);
    const form = await page.$("form#filter");
    if (form) {
      tried += 1;
      await onPage(page, name, seasons);
    }
    await page.close();
  }
  if (tried === 0) skip("filters", "no page has one");
}

async function onPage(page, name, seasons) {
  const against = [];
  const values = {};
  for (const key of ["season", "condition", "planter"]) {
    values[key] = await page.$$eval(`#filter select[name="${key}"] option`, (all) => all.map((option) => option.value));
  }
  const choices = Object.keys(values).flatMap((key) => values[key].filter(Boolean).map((value) => ({ [key]: value })));
  // Two at once, and back to all at the end.
  for (const season of values.season.filter(Boolean)) {
    for (const planter of values.planter.filter(Boolean)) choices.push({ season, planter });
  }
  choices.push({});
  let hid = 0;
  const before = await parts(page);
  for (const given of choices) {
    const choice = { season: "", condition: "", planter: "", ...given };
    for (const [key, value] of Object.entries(choice)) await page.select(`#filter select[name="${key}"]`, value);
    const words = JSON.stringify(given);
    const now = await parts(page);
    for (const part of now) {
      const wanted = fits(part.told, choice);
      if (!wanted) hid += 1;
      if (part.seen !== wanted) against.push(`${words}: ${part.seen ? "still shows" : "hides"} "${part.words}"`);
    }
    // The table of fields against the table of results, which knows nothing of the page.
    const shown = now.filter((part) => part.inFields && part.seen).length;
    const held = (cell, value) => value === "" || cell === value;
    const want = seasons.filter(
      (row) =>
        held(row.season, choice.season) &&
        held(row.planter_id, choice.planter) &&
        (choice.condition === "" || row.conditions.split("; ").includes(choice.condition)),
    ).length;
    if (shown !== want) against.push(`${words}: ${shown} fields and seasons shown, field_seasons.csv has ${want}`);
    const says = await page.$eval("#filter output", (output) => output.textContent);
    if ((says !== "") !== now.some((part) => !part.seen)) against.push(`${words}: says "${says}"`);
  }
  if (hid === 0 && before.length > 1) against.push("no choice hides anything");
  check(`${name}: ${choices.length} choices of the filter show and hide the right rows (of ${before.length})`, against);
}

module.exports = { filters };
