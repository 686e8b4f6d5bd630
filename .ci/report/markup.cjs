// Every page of a report against the rules of HTML: markup.cjs REPORT
//
// Presets: `standard` (what the HTML standard forbids) and `document` (what a whole page needs). Not switched off but
// narrowed: `require-sri` asks for a hash of every style sheet and script, which guards files that come from
// elsewhere; a report has none, so it is asked of other origins alone.
"use strict";
const path = require("node:path");
const { HtmlValidate, StaticConfigLoader } = require("html-validate");
const { check } = require("./say.cjs");
const { pages } = require("./pages.cjs");

async function main() {
  const report = path.resolve(process.argv[2]);
  const loader = new StaticConfigLoader({
    root: true,
    extends: ["html-validate:standard", "html-validate:document"],
    rules: { "require-sri": ["error", { target: "crossorigin" }] },
  });
  const validator = new HtmlValidate(loader);
  const all = pages(report);
  const against = [];
  for (const page of all) {
    const found = await validator.validateFile(path.join(report, page));
    for (const result of found.results) {
      for (const message of result.messages) {
        against.push(`${page}, line ${message.line}: ${message.message} (${message.ruleId})`);
      }
    }
  }
  if (all.length === 0) against.push("no page was found");
  check(`${all.length} pages follow the rules of HTML`, against);
}

main().catch((error) => {
  check("pages follow the rules of HTML", [String(error.stack)]);
});
