// Whether a mark under the pointer says what it stands for.
"use strict";
const { check, skip } = require("./say.cjs");

const tried = 12;

async function labels(reader, names) {
  let found = 0;
  for (const name of names) {
    for (const [width, way] of [[1280, "pointer"], [390, "finger"]]) {
      const page = await reader.open(name, { width });
      const spots = await page.$$(".spot");
      if (spots.length > 0) {
        found += 1;
        await onPage(page, spots, `${name}: marks under the ${way} say what they stand for (${width} px)`, way);
      }
      await page.close();
    }
  }
  if (found === 0) skip("labels of marks", "no page has a mark");
}

// Every so many marks, so that those tried lie all over the page.
async function onPage(page, spots, title, way) {
  const against = [];
  const step = Math.max(1, Math.floor(spots.length / tried));
  let asked = 0;
  for (let place = 0; place < spots.length; place += step) {
    const spot = spots[place];
    const seen = await spot.evaluate((mark) => {
      mark.scrollIntoView({ block: "center" });
      const box = mark.getBoundingClientRect();
      const at = [box.left + box.width / 2, box.top + box.height / 2];
      const top = box.width > 0 ? document.elementFromPoint(...at) : null;
      const title = top && top.classList.contains("spot") ? top.querySelector("title") : null;
      return { at, shown: box.width > 0, said: title ? title.textContent : null };
    });
    if (!seen.shown) continue;
    asked += 1;
    if (!seen.said) {
      against.push(`mark ${place + 1}: nothing at its middle has a title`);
      continue;
    }
    await page.mouse.move(1, 1);
    if (way === "pointer") await page.mouse.move(...seen.at);
    else await page.mouse.click(...seen.at);
    const label = await page.evaluate(() => {
      const all = [...document.querySelectorAll(".says-mark")];
      const box = all.length ? all[0].getBoundingClientRect() : null;
      const root = document.documentElement;
      return {
        count: all.length,
        words: all.length ? all[0].textContent : "",
        inside: box !== null && box.left >= 0 && box.right <= root.clientWidth && box.height > 0,
        sideways: root.scrollWidth > root.clientWidth,
      };
    });
    if (label.count !== 1) against.push(`mark ${place + 1}: ${label.count} labels`);
    else if (label.words !== seen.said) against.push(`mark ${place + 1}: says "${label.words}", not "${seen.said}"`);
    else if (!label.inside) against.push(`mark ${place + 1}: its label runs out of the page`);
    if (label.sideways) against.push(`mark ${place + 1}: its label makes the page scroll sideways`);
    await page.keyboard.press("Escape");
    if (await page.$(".says-mark")) against.push(`mark ${place + 1}: its label stays after Escape`);
  }
  if (asked === 0) against.push("no mark is seen");
  check(`${title}, ${asked} of ${spots.length}`, against);
}

module.exports = { labels };
