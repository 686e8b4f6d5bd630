// A report in a browser without a screen: browser.cjs REPORT RESULTS CHROMIUM
//
// Nothing may be fetched from elsewhere, no page may scroll sideways on a telephone, each page is whole without
// JavaScript, filters and labels do what they say, what axe-core calls serious or critical is not there, and printed
// sheets come out as promised.
"use strict";
const path = require("node:path");
const { pathToFileURL } = require("node:url");
const puppeteer = require("puppeteer-core");
const { check } = require("./say.cjs");
const { pages, chosen } = require("./pages.cjs");
const { accessible } = require("./accessible.cjs");
const { filters } = require("./filters.cjs");
const { labels } = require("./labels.cjs");
const { printed } = require("./printed.cjs");

const telephone = 390;
const desk = 1280;

// Opens pages of a report and keeps what each did that it should not: `fetched`, `said` in the console.
class Reader {
  constructor(browser, report) {
    this.browser = browser;
    this.report = report;
    this.fetched = [];
    this.said = [];
  }

  async open(name, { width = desk, scheme = "light", script = true } = {}) {
    const page = await this.browser.newPage();
    await page.setViewport({ width, height: 900 });
    await page.setJavaScriptEnabled(script);
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
    await page.setRequestInterception(true);
    const folder = `${pathToFileURL(this.report).href}/`;
    page.on("request", (request) => {
      const inside = request.url().startsWith(folder) || request.url().startsWith("data:");
      if (inside) return void request.continue();
      this.fetched.push(`${name}: asks for ${request.url().slice(0, 200)}`);
      return void request.abort();
    });
    page.on("requestfailed", (request) => this.fetched.push(`${name}: not there: ${request.url().slice(0, 200)}`));
    page.on("pageerror", (error) => this.said.push(`${name}: ${error.message}`));
    page.on("console", (message) => {
      if (["error", "warn"].includes(message.type())) this.said.push(`${name}: ${message.text()}`);
    });
    await page.goto(pathToFileURL(path.join(this.report, name)).href, { waitUntil: "load" });
    return page;
  }
}

// Each section with its heading, its letters and whether it takes up room.
function sections(page) {
  return page.$$eval("main > section", (all) =>
    all.map((section) => {
      const heading = section.querySelector("h1,h2,h3");
      const letters = section.textContent.replace(/\s+/g, " ").trim().length;
      const seen = section.getBoundingClientRect().height > 0 ? "seen" : "not seen";
      return `${section.id || "(no id)"}: ${heading ? heading.textContent.trim() : ""}, ${letters} letters, ${seen}`;
    }),
  );
}

// On each page: does it scroll sideways, do its links lead somewhere, is it the same without JavaScript?
async function everyPage(reader, names) {
  const sideways = [];
  const lost = [];
  const unlike = [];
  const whole = [];
  const known = new Map();
  const links = [];
  for (const name of names) {
    const page = await reader.open(name, { width: telephone });
    const [wide, room] = await page.evaluate(() => {
      const root = document.documentElement;
      return [root.scrollWidth, root.clientWidth];
    });
    if (wide > room) sideways.push(`${name}: ${wide} px wide in ${room} px`);
    const withScript = await sections(page);
    known.set(name, new Set(await page.$$eval("[id]", (all) => all.map((part) => part.id))));
    for (const link of await page.$$eval("a[href]", (all) => all.map((part) => part.getAttribute("href")))) {
      links.push([name, link]);
    }
    await page.close();
    const plain = await reader.open(name, { width: telephone, script: false });
    const without = await sections(plain);
    await plain.close();
    if (withScript.length === 0) whole.push(`${name}: no section`);
    if (withScript.join("\n") !== without.join("\n")) {
      const first = withScript.findIndex((line, place) => line !== without[place]);
      unlike.push(`${name}: with JavaScript "${withScript[first]}", without "${without[first]}"`);
    }
    for (const line of without.filter((line) => line.endsWith("not seen"))) whole.push(`${name}: ${line}`);
  }
  for (const [name, link] of links) {
    const [file, id] = link.split("#");
    const target = file === "" ? name : path.posix.join(path.posix.dirname(name), decodeURIComponent(file));
    if (!known.has(target)) lost.push(`${name}: ${link}`);
    else if (id && !known.get(target).has(decodeURIComponent(id))) lost.push(`${name}: ${link}: no such place`);
  }
  check(`${names.length} pages do not scroll sideways at ${telephone} px`, sideways);
  check(`${names.length} pages show the same sections without JavaScript`, unlike.concat(whole));
  check(`${links.length} links lead to a page and place of the report`, lost);
}

async function main() {
  const [report, results, chromium] = process.argv.slice(2);
  const browser = await puppeteer.launch({
    executablePath: chromium,
    args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking"],
  });
  try {
    const reader = new Reader(browser, path.resolve(report));
    const all = pages(reader.report);
    const few = chosen(reader.report);
    await everyPage(reader, all);
    await accessible(reader, few, [desk, telephone]);
    await filters(reader, all, results);
    await labels(reader, few);
    await printed(reader, [...new Set([...few, ...all.filter((name) => name.includes("growers/"))])]);
    check("no page asks for anything outside its folder, or for what is not there", reader.fetched);
    check("no page says an error or a warning in the console", reader.said);
  } finally {
    await browser.close();
  }
}

main().catch((error) => check("the pages can be read in a browser", [String(error.stack)]));
