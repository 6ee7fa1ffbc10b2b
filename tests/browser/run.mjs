// @ts-check
// The pages as people meet them: a real browser against the built server.
//
//     node tests/browser/run.mjs --server target/release/swardbook --browser /usr/bin/chromium
//
// Needs `playwright-core` and `axe-core` where node finds modules; `.ci/browser` installs them.

import assert from 'node:assert/strict';
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { applications, demonstration, enrolmentCode, planVisits } from './book.mjs';

const require = createRequire(process.env.SWARDBOOK_MODULES ?? import.meta.url);
const { chromium } = require('playwright-core');
const axe = await readFile(require.resolve('axe-core/axe.min.js'), 'utf8');

/** @param {string} name @param {string} otherwise */
const argument = (name, otherwise) => {
  const at = process.argv.indexOf(`--${name}`);
  return at < 0 ? otherwise : process.argv[at + 1];
};
const executablePath = argument('browser', '/usr/bin/chromium');
const port = Number(argument('port', '8397'));
const book = await demonstration(argument('server', 'target/release/swardbook'), port);
const folder = await mkdtemp(join(tmpdir(), 'browser-'));
/** @type {string[]} */
const complaints = [];
/** Refusals are answered on purpose in these trials, and the browser notes each of them. */
const EXPECTED = /Failed to load resource|net::ERR_/;

/** @param {any} page */
function listen(page) {
  page.on('console', (/** @type {any} */ message) => message.type() === 'error' && !EXPECTED.test(message.text()) && complaints.push(`${page.url()}: ${message.text()}`));
  page.on('pageerror', (/** @type {Error} */ error) => complaints.push(`${page.url()}: ${error}`));
  return page;
}

/** A phone that can be killed and opened again. @param {string} name @param {object} [more] */
const phone = (name, more = {}) => chromium.launchPersistentContext(join(folder, name), { executablePath, args: ['--no-sandbox'], viewport: { width: 360, height: 740 }, hasTouch: true, ...more });

/** @param {any} context @param {string} code */
async function enrol(context, code) {
  const page = listen(await context.newPage());
  context.setDefaultTimeout(10_000);
  await page.goto(`${book.base}/phone#${code}`);
  await page.getByRole('button', { name: 'Enrol' }).click();
  await page.getByRole('heading', { name: /Stops of/ }).waitFor();
  await page.evaluate(() => navigator.serviceWorker.ready);
  return page;
}

let taps = 0;
/** @param {any} locator */
async function tap(locator) {
  taps += 1;
  await locator.click();
}

/** The common path of one stop, from the list to the list. @param {any} page @param {any} stop @param {string} [amount] */
async function recordStop(page, stop, amount) {
  taps = 0;
  await tap(stop);
  await tap(page.getByRole('button', { name: 'I am at this address' }));
  const equipment = page.getByRole('button', { name: 'Rotary spreader with deflector' });
  await page.getByRole('button', { name: 'Start', exact: true }).waitFor();
  await tap(page.getByRole('button', { name: 'Moist' }));
  if ((await equipment.getAttribute('aria-pressed')) !== 'true' && (await page.locator('fieldset', { hasText: 'With' }).locator('[aria-pressed=true]').count()) === 0) await tap(equipment);
  await tap(page.getByRole('button', { name: 'Start', exact: true }));
  await tap(page.getByRole('button', { name: 'Finish' }));
  const usual = await page.locator('.amount small').first().textContent();
  const [, least, most] = /Usual here: ([\d.]+) to ([\d.]+) lb/.exec(usual ?? '') ?? ['', '1', '1'];
  await page.locator('.amount input').first().fill(amount ?? ((Number(least) + Number(most)) / 2).toFixed(2));
  await tap(page.getByRole('button', { name: 'Yes' }));
  await tap(page.getByRole('button', { name: 'Save' }));
  // Kept on the phone, it leads back to the list; an amount that is asked about again does not.
  if (amount === undefined) await page.getByRole('heading', { name: /Stops of/ }).waitFor();
  return taps;
}

/** Waits until nothing is left on the phone; says what the phone says if something stays. @param {any} page */
async function allSent(page) {
  try {
    await page.getByText('Everything is sent').waitFor({ timeout: 45_000 });
  } catch (error) {
    const bar = await page.locator('#queue').textContent();
    const need = page.getByRole('button', { name: /need you/ });
    const why = (await need.count()) === 0 ? '' : (await need.click(), await page.locator('article').first().textContent());
    throw new Error(`not everything was sent: ${bar} ${why}`, { cause: error });
  }
}

/** @param {string} name @param {() => Promise<void>} work */
async function trial(name, work) {
  const begun = Date.now();
  try {
    await work();
    console.log(`ok    ${name} (${Date.now() - begun} ms)`);
  } catch (error) {
    console.log(`FAILED ${name}`);
    console.log(error);
    process.exitCode = 1;
  }
}

const { code, technician } = await enrolmentCode(book.office);
await planVisits(book.office, technician, 24);
const before = new Set(await applications(book.owner));
const added = async () => (await applications(book.owner)).filter((id) => !before.has(id));

await trial('twenty records of a day without a network arrive once each, through a killed browser', async () => {
  let context = await phone('first');
  let page = await enrol(context, code);
  await context.setOffline(true);
  for (let done = 0; done < 20; done += 1) {
    const stop = page.locator('.stop-button', { hasNotText: /waiting to be sent|✓/ }).first();
    const count = await recordStop(page, stop);
    assert.ok(count >= 5 && count <= 12, `${count} taps`);
    if (done === 9) {
      await context.close();
      context = await phone('first', { offline: true });
      page = listen(await context.newPage());
      await page.goto(`${book.base}/phone`);
      await page.getByText('10 waiting').waitFor();
    }
  }
  await page.getByText('20 waiting').waitFor();
  assert.equal((await added()).length, 0);
  await page.getByRole('button', { name: 'Take my data off this phone' }).click();
  await page.getByText('20 records are only on this phone').waitFor();
  await page.getByRole('button', { name: 'Back' }).click();
  // Two tabs come back on line at once.
  const second = listen(await context.newPage());
  await second.goto(`${book.base}/phone`);
  await context.setOffline(false);
  await allSent(page);
  assert.equal((await added()).length, 20);
  await context.close();
});

await trial('a reply that is lost makes no second record; faults of the server and the network only delay', async () => {
  const context = await phone('second');
  const page = await enrol(context, (await enrolmentCode(book.office)).code);
  const known = (await added()).length;
  const answers = [503, 429, 'lost'];
  await page.route('**/api/v1/applications/*', async (/** @type {any} */ route) => {
    const answer = answers.shift();
    if (answer === undefined) return route.continue();
    if (answer !== 'lost') return route.fulfill({ status: answer, headers: { 'retry-after': '1' }, contentType: 'application/problem+json', body: JSON.stringify({ title: 'Busy', detail: 'Busy', status: answer, code: 'busy' }) });
    await route.fetch();
    return route.abort();
  });
  await recordStop(page, page.locator('.stop-button', { hasNotText: /waiting to be sent|✓/ }).last());
  await allSent(page);
  assert.equal(answers.length, 0);
  assert.equal((await added()).length, known + 1);
  await context.close();
});

await trial('a slipped decimal point is caught, a refused record comes back with its findings and blocks no other', async () => {
  const context = await phone('third');
  const page = await enrol(context, (await enrolmentCode(book.office)).code);
  const known = (await added()).length;
  const open = page.locator('.stop-button', { hasNotText: /waiting to be sent|✓/ });
  await recordStop(page, open.first(), '260');
  await page.getByText('260 lb on the').waitFor();
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByText('1 need you').waitFor();
  await recordStop(page, open.last());
  await page.getByText('0 waiting').waitFor();
  assert.equal((await added()).length, known + 1, 'the other one went through');
  await page.getByRole('button', { name: '1 need you' }).click();
  await page.getByRole('button', { name: 'Send as it happened' }).click();
  await page.getByText('Read every reason').waitFor();
  for (const box of await page.locator('.finding input').all()) await box.check();
  await page.locator('textarea').fill('The gate of the hopper stuck.');
  await page.getByRole('button', { name: 'Send as it happened' }).click();
  await allSent(page);
  assert.equal((await added()).length, known + 2);
  await context.close();
});

await trial('a session that ended keeps the records, and a technician is not let to the owner', async () => {
  const context = await phone('fourth');
  const page = await enrol(context, (await enrolmentCode(book.office)).code);
  for (const path of ['/year', '/office', '/reviews', '/rules']) {
    const answer = await context.request.get(`${book.base}${path}`);
    assert.equal(answer.status(), 403, path);
  }
  await page.route('**/api/v1/me', (/** @type {any} */ route) => route.fulfill({ status: 401, contentType: 'application/problem+json', body: '{"title":"Sign in first","detail":"ended","status":401,"code":"not-signed-in"}' }));
  const known = (await added()).length;
  await recordStop(page, page.locator('.stop-button', { hasNotText: /waiting to be sent|✓/ }).first());
  await page.getByText('Enrol this phone again to send').waitFor();
  assert.equal((await added()).length, known);
  await page.unroute('**/api/v1/me');
  await page.reload();
  await allSent(page);
  assert.equal((await added()).length, known + 1);
  await context.close();
});

await trial('every page is sound for everybody, light and dark, at 360 px, and small', async () => {
  for (const colorScheme of ['light', 'dark']) {
    const browser = await chromium.launch({ executablePath, args: ['--no-sandbox'] });
    const context = await browser.newContext({ viewport: { width: 360, height: 740 }, colorScheme, bypassCSP: true });
    const page = listen(await context.newPage());
    const property = (await book.office('GET', '/api/v1/properties?limit=1', undefined, 200)).items[0];
    const [record] = await applications(book.owner);
    const client = property.client_id;
    for (const path of ['/', '/sign-in', '/phone', 'signed in', '/office', '/office?q=street', `/office/properties/${property.id}`, '/year', `/year/${client}`, `/records/${record}`, '/reviews', '/rules', '/problems/invalid']) {
      if (path === 'signed in') {
        await page.goto(`${book.base}/sign-in?to=/year`);
        await page.fill('#name', 'owner');
        await page.fill('#password', book.password);
        await page.getByRole('button', { name: 'Sign in' }).click();
        await page.getByRole('heading', { name: /The year/ }).waitFor();
        continue;
      }
      let bytes = 0;
      const count = async (/** @type {any} */ response) => (bytes += (await response.request().sizes()).responseBodySize);
      page.on('response', count);
      await page.goto(book.base + path);
      await page.waitForLoadState('networkidle');
      page.off('response', count);
      assert.ok(bytes < 60_000, `${path} takes ${bytes} bytes`);
      await page.evaluate(axe);
      const found = await page.evaluate(() => /** @type {any} */ (globalThis).axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
      const violations = found.violations.map((/** @type {any} */ one) => `${one.id}: ${one.nodes.map((/** @type {any} */ node) => node.html.slice(0, 120)).join(' | ')}`);
      assert.deepEqual(violations, [], `${path}, ${colorScheme}`);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.ok(wide <= 0, `${path} is ${wide} px too wide`);
    }
    await browser.close();
  }
});

await trial('no page complained', async () => assert.deepEqual(complaints, []));
await rm(folder, { recursive: true, force: true });
book.stop();
