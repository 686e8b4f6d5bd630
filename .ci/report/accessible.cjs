// What axe-core says of a page, at each width, in light and in dark.
"use strict";
const axe = require("axe-core");
const { check, note } = require("./say.cjs");

async function accessible(reader, names, widths) {
  for (const name of names) {
    const against = [];
    const mild = [];
    let rules = 0;
    for (const width of widths) {
      for (const scheme of ["light", "dark"]) {
        const page = await reader.open(name, { width, scheme });
        // What is folded away is read too: somebody will unfold it.
        await page.$$eval("details", (all) => all.forEach((part) => part.setAttribute("open", "")));
        await page.evaluate(axe.source);
        const found = await page.evaluate(() => window.axe.run(document, { preload: false, resultTypes: ["violations"] }));
        rules = Math.max(rules, found.passes.length);
        for (const violation of found.violations) {
          const where = violation.nodes.slice(0, 3).map((node) => node.target.join(" ")).join("; ");
          const why = violation.nodes[0].failureSummary.split("\n").slice(1, 2).join("").trim();
          const line = `${width} px, ${scheme}: ${violation.impact}: ${violation.id}: ${violation.help} (${violation.nodes.length}: ${where}) ${why}`;
          (["serious", "critical"].includes(violation.impact) ? against : mild).push(line);
        }
        await page.close();
      }
    }
    if (rules === 0) against.push("axe-core found nothing to look at");
    check(`axe-core has nothing serious against ${name} (${rules} rules met)`, against);
    mild.forEach(note);
  }
}

module.exports = { accessible };
