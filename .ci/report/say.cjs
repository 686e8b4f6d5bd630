// One line a check, in the words that report-checks counts: ok, failed, skipped.
"use strict";
const most = 12;

// Says how a check went: failed where there is anything to say against it, with the first of it below.
function check(name, against) {
  if (against.length === 0) {
    console.log(`ok: ${name}`);
    return;
  }
  console.log(`failed: ${name}`);
  for (const line of against.slice(0, most)) console.log(`    ${line}`);
  if (against.length > most) console.log(`    and ${against.length - most} more`);
}

function note(line) {
  console.log(`    note: ${line}`);
}

function skip(name, why) {
  console.log(`skipped: ${name}: ${why}`);
}

module.exports = { check, note, skip };
