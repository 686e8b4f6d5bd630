// Opens the pages of a report in a browser: accessibility, width, requests, scripts, print.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [browserPath, report] = process.argv.slice(2);
const axe = fs.readFileSync("node_modules/axe-core/axe.min.js", "utf8");
const browser = await puppeteer.launch({ executablePath: browserPath, args: ["--no-sandbox", "--disable-gpu"] });
let failed = false;
const say = (good, words) => { console.log((good ? "ok       " : "failed   ") + words); failed ||= !good; };

const listed = (folder) => fs.existsSync(path.join(report, folder))
  ? fs.readdirSync(path.join(report, folder)).filter((name) => name.endsWith(".html")).map((name) => `${folder}/${name}`) : [];
const fields = listed("fields"), growers = listed("growers");
const withMap = fields.filter((file) => fs.readFileSync(path.join(report, file), "utf8").includes('id="map"'));
const pages = [...new Set(["index.html", "research.html", "us/index.html", "metric/index.html", growers[0], fields[0], withMap[0]])]
  .filter((file) => file && fs.existsSync(path.join(report, file)));

const open = async (file, { width = 1280, dark = false, scripts = true } = {}) => {
  const page = await browser.newPage();
  const faults = [];
  await page.setViewport({ width, height: 900 });
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: dark ? "dark" : "light" }]);
  await page.setJavaScriptEnabled(scripts);
  await page.setRequestInterception(true);
  page.on("request", (request) => {
    if (/^(file|data|blob):/.test(request.url())) { request.continue(); } else { faults.push(`asks for ${request.url()}`); request.abort(); }
  });
  page.on("console", (message) => { if (message.type() === "error") { faults.push(message.text()); } });
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("requestfailed", (request) => faults.push(`could not load ${path.basename(request.url())}`));
  await page.goto(pathToFileURL(path.join(report, file)).href, { waitUntil: "load" });
  return { page, faults };
};

for (const file of pages) {
  for (const width of [1280, 390]) {
    for (const dark of [false, true]) {
      const { page, faults } = await open(file, { width, dark });
      await page.evaluate(axe);
      // eslint-disable-next-line no-undef
      const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"], preload: false }));
      const grave = found.violations.filter((fault) => ["serious", "critical"].includes(fault.impact));
      const sideways = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      const where = `${file} at ${width} px, ${dark ? "dark" : "light"}`;
      const told = found.violations.map((fault) => `${fault.id} (${fault.impact}) ${fault.nodes.length}x, first: ${fault.nodes[0].html.slice(0, 140)}`);
      say(grave.length === 0 && sideways <= 0 && faults.length === 0,
        `${where}: ${found.violations.length} violations, ${sideways} px sideways${told.length ? "\n           " + told.join("\n           ") : ""}${faults.length ? "\n           " + faults.slice(0, 3).join("\n           ") : ""}`);
      await page.close();
    }
  }
}

{
  const heads = (page) => page.$$eval("h2, h3", (nodes) => nodes.map((node) => node.textContent));
  const plain = await open("index.html", { scripts: false });
  const scripted = await open("index.html");
  const [without, withScripts] = [await heads(plain.page), await heads(scripted.page)];
  say(JSON.stringify(without) === JSON.stringify(withScripts) && without.length > 5, `without scripts the winter review has the same ${without.length} headings`);
  const page = scripted.page;
  const shown = () => page.$$eval("#fields tr[data-season]", (rows) => rows.filter((row) => row.getClientRects().length > 0).map((row) => row.dataset.season));
  const before = await shown();
  const season = before[0];
  await page.select('select[name="season"]', season);
  const after = await shown();
  say(after.length === before.filter((other) => other === season).length && after.every((other) => other === season),
    `the filter shows ${after.length} of ${before.length} field-seasons for ${season}`);
  await page.select('select[name="season"]', "");
  const spot = await page.$(".spot");
  if (spot) {
    await spot.evaluate((node) => node.scrollIntoView({ block: "center" }));
    await spot.hover();
    const label = await page.$eval(".says-mark", (node) => node.textContent).catch(() => "");
    const title = await spot.$eval("title", (node) => node.textContent);
    say(label !== "" && (label === title || (await page.$$eval(".spot title", (nodes) => nodes.map((node) => node.textContent))).includes(label)),
      `a strip under the pointer says: ${label.slice(0, 90)}`);
  }
  await plain.page.close();
  await page.close();
}

for (const format of ["A4", "Letter"]) {
  let worst = 0;
  for (const file of growers) {
    const { page } = await open(file);
    const paper = await page.pdf({ format, preferCSSPageSize: false, printBackground: true });
    worst = Math.max(worst, (Buffer.from(paper).toString("latin1").match(/\/Type\s*\/Page[^s]/g) || []).length);
    await page.close();
  }
  const { page } = await open("index.html");
  const whole = await page.pdf({ format, preferCSSPageSize: false, printBackground: true });
  say(worst <= 1 && whole.length > 10000, `${format}: ${growers.length} sheets for growers of ${worst} page, the winter review prints`);
  await page.close();
}
await browser.close();
process.exit(failed ? 1 : 0);
