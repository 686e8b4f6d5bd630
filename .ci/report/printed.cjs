// How the pages come out on paper.
"use strict";
const { check } = require("./say.cjs");

// Sheets of a printed file: the browser writes one page object a sheet, uncompressed.
function sheets(bytes) {
  return (Buffer.from(bytes).toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g) || []).length;
}

async function printed(reader, names) {
  for (const format of ["A4", "Letter"]) {
    const against = [];
    const more = [];
    let most = [0, ""];
    for (const name of names) {
      const page = await reader.open(name);
      const file = await page.pdf({ format, printBackground: true, timeout: 120000 });
      const count = sheets(file);
      if (count < 1) against.push(`${name}: no sheet`);
      if (count > most[0]) most = [count, name];
      if (name.includes("growers/") && count !== 1) more.push(`${name}: ${count} sheets`);
      await page.close();
    }
    const growers = names.filter((name) => name.includes("growers/")).length;
    check(`${names.length} pages print on ${format} (at most ${most[0]} sheets: ${most[1]})`, against);
    check(`${growers} grower pages print on one sheet of ${format} each`, more);
  }
}

module.exports = { printed };
