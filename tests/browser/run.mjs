// @ts-check
// The pages as people meet them: a real browser against the built server.
//
//     node tests/browser/run.mjs --server target/release/swardbook --browser /usr/bin/chromium [--part phone|pages] [--only 'words|words'] [--modules server/modules]
//
// The trials are in two parts of about the same length, so that two runs on two ports take half as long as one.
// `--modules` serves the phone's page from that folder instead of from the binary, to try a change without a build.
// Needs `playwright-core` and `axe-core` where node finds modules; `.ci/browser` installs them.

import assert from 'node:assert/strict';
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { fromSources } from './between.mjs';
import { applications, demonstration, enrolmentCode, planVisits } from './book.mjs';
import * as changed from './trials/changed.mjs';
import * as clock from './trials/clock.mjs';
import * as faults from './trials/faults.mjs';
import * as ground from './trials/ground.mjs';
import * as hands from './trials/hands.mjs';
import * as keeping from './trials/keeping.mjs';
import * as lost from './trials/lost.mjs';
import * as offline from './trials/offline.mjs';
import * as pages from './trials/pages.mjs';
import * as shares from './trials/parts.mjs';
import * as record from './trials/record.mjs';
import * as saving from './trials/saving.mjs';

const require = createRequire(process.env.SWARDBOOK_MODULES ?? import.meta.url);
const { chromium } = require('playwright-core');

/** @param {string} name @param {string} otherwise */
const argument = (name, otherwise) => {
  const at = process.argv.indexOf(`--${name}`);
  return at < 0 ? otherwise : process.argv[at + 1];
};
const book = await demonstration(argument('server', 'target/release/swardbook'), Number(argument('port', '8397')));
const { technician } = await enrolmentCode(book.office);
await planVisits(book.office, technician, 70);
const modules = argument('modules', '');
const way = modules === '' ? { base: book.base, stop: () => undefined } : await fromSources(book.base, modules);
/** @type {import('./walk.mjs').World} */
const world = {
  chromium,
  executablePath: argument('browser', '/usr/bin/chromium'),
  axe: await readFile(require.resolve('axe-core/axe.min.js'), 'utf8'),
  book,
  base: way.base,
  folder: await mkdtemp(join(tmpdir(), 'browser-')),
  complaints: [],
  before: new Set(await applications(book.owner)),
  technician,
};

/** @typedef {[string, (world: import('./walk.mjs').World) => Promise<void>][]} Trials */
/** @type {Trials} */
const phone = [
  ['twenty records of a day without a network arrive once each, through a killed browser and two tabs', offline.aDayWithoutANetwork],
  ['a new version takes over with a full queue, and loses nothing of it', offline.aNewVersion],
  ['a clock that is a day off changes neither the day nor the record', offline.aClockADayOff],
  ['the forecast and what may go down are read without a network, and signing out there is made good', offline.theForecastIsKept],
  ['a reply that is lost makes no second record; faults of the server and the network only delay', faults.aLostReply],
  ['only a reply that is the record takes it off the phone', faults.aForeignReply],
  ['a slipped decimal point is caught, a refused record comes back with its findings and blocks no other', faults.aRefusedRecord],
  ['a record that is in the book with other figures comes back and blocks no other', faults.anotherContent],
  ['a session that ended keeps the records, and a technician is not let to the owner', faults.anEndedSession],
  ['a full phone says so and loses no figure; a browser that keeps nothing takes no record', faults.aFullPhone],
  ['saved with a double tap, a stop is one record', saving.aDoubleTap],
  ['saved in two tabs, before and after it was sent, a stop is one record', saving.twoTabs],
  ['saved again after a crash, a stop is one record', saving.aCrashWhileSaving],
  ['started in two tabs, a stop is one record', saving.twoStarts],
  ['signing out asks before begun work is lost, and the safe way comes first', keeping.signingOutAsks],
  ["a colleague's turn on the phone keeps begun work and unsent records", keeping.aColleaguesTurn],
  ['a new version keeps what an older one had begun', keeping.anOlderVersionsWork],
  ['a download that did not finish leaves the day as it was, and says so', keeping.aHalfDownload],
  ['what was sent comes back by itself where an older copy was put in the place of the records', lost.anOlderCopyIsPutBack],
  ['what was sent and is kept is erased with the rest', lost.whatIsKeptIsErased],
  ['half a lawn is recorded as half, and the rest stays open until it is recorded', shares.aPartIsAPart],
  ['soaked ground is warned of before and after the server has answered', ground.soakedGroundStaysSaid],
  ['wind that is measured before the start is asked with, and stands on the record', ground.windIsMeasuredFirst],
  ['an answer to another wind starts no work, also a late one', ground.anotherWindStartsNothing],
  ['parts of a lawn are chosen by name, and what is open of them stays', shares.namedParts],
  ['parts that the office names anew during the work are not offered again, and the refused record is mended', shares.partsNamedAnew],
  ['a start of which nothing was treated leaves no record', shares.nothingTreated],
  ['what the law wants on the record is asked, and nothing else has to be', record.theLawAsks],
  ["a label's special instruction is asked where the law wants it", record.theLabelsInstruction],
  ['whoever wants to tells more for the record', record.moreIsTold],
  ['whoever needs a supervisor is asked for one before the start', record.aSupervisorIsAsked],
  ['the times of a refused record are corrected', record.timesAreMended],
  ['a clock that is set during the work dates no record wrongly, and is told', clock.aClockThatIsSet],
  ['a clock that is left alone leaves no mark', clock.aClockThatIsLeft],
  ['what was done after midnight is dated next to the work', clock.pastMidnight],
  ['a phone that slept is no clock that was set', clock.aPhoneThatSlept],
  ['what the office changes is said on the list and on the open stop', changed.theOfficeChangesItsMind],
  ['a download says that it works', hands.aDownloadSaysSo],
  ['Start does not move when the answer comes', hands.startStays],
  ['a tap on Start is heard while the answer comes', hands.startIsHeard],
  ['a stop that comes while the finger is on Start begins no work', hands.aStopIsHeard],
  ['a visit that is called off while the finger is on Start is not begun', hands.aCancellationIsHeard],
  ['the answer fits on one screen with Start', hands.oneScreenAnswers],
  ['Enter in an amount goes on', hands.enterGoesOn],
  ['the list knows the deflector of the machine', hands.theDeflectorIsKnown],
];
/** @type {Trials} */
const pagesForAll = [
  ['the picture of a code enrols a phone, which can install the page', pages.aPictureEnrols],
  ['a stop, and the way to a record, by keyboard alone', pages.byKeyboardAlone],
  ["the phone's pages have large targets and a contrast of 7:1, light and dark", pages.thePhonesPagesAreSound],
  ['what is asked for the record has large targets and a contrast of 7:1, also narrow and in large print', record.theQuestionsAreSound],
  ['every page is sound for everybody, light and dark, at 360 px, and small', pages.everyPageIsSound],
  ['no page scrolls sideways at 320 px, also at 200 % text', pages.narrowAndLarge],
  ['a caller is found from any page, while typing, with Enter and without a script', pages.aCallerIsFound],
  ['the statement prints without the screen around it', pages.theStatementPrints],
];
/** @type {Record<string, Trials>} */
const parts = { phone, pages: pagesForAll, '': [...phone, ...pagesForAll] };
const part = parts[argument('part', '')];
assert.ok(part, '--part is phone or pages');
/** @type {Trials} */
const trials = [...part, ['no page complained', async () => assert.deepEqual(world.complaints, [])]];

for (const [name, work] of trials.filter(([name]) => argument('only', '').split('|').some((words) => name.includes(words)))) {
  const begun = Date.now();
  try {
    await work(world);
    console.log(`ok    ${name} (${Date.now() - begun} ms)`);
  } catch (error) {
    console.log(`FAILED ${name}`);
    console.log(error);
    process.exitCode = 1;
  }
}
await rm(world.folder, { recursive: true, force: true });
way.stop();
book.stop();
// What a failed trial left open must not keep the run from ending.
process.exit();
