// @ts-check
// Takes pictures of the pages at phone and desk size, to be looked at by a person: of the demonstration's invented company.
//
//     node tests/browser/pictures.mjs --server target/release/swardbook --into FOLDER [--part phone] [--modules server/modules]

import { mkdir, mkdtemp, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { fromSources } from './between.mjs';
import { applications, demonstration, enrolmentCode, planVisits } from './book.mjs';
import { stopOf, stopUnder } from './trials/record.mjs';
import { arrive, deskPages, enrol, firstAmount, openStops, phone, setClock, signIn, start } from './walk.mjs';

const { chromium } = createRequire(process.env.SWARDBOOK_MODULES ?? import.meta.url)('playwright-core');
/** @param {string} name @param {string} otherwise */
const argument = (name, otherwise) => {
  const at = process.argv.indexOf(`--${name}`);
  return at < 0 ? otherwise : process.argv[at + 1];
};
const into = argument('into', 'target/pictures');
await mkdir(into, { recursive: true });
const book = await demonstration(argument('server', 'target/release/swardbook'), Number(argument('port', '8398')));
const { technician } = await enrolmentCode(book.office);
await planVisits(book.office, technician, 5, '0.4');
const modules = argument('modules', '');
const way = modules === '' ? { base: book.base, stop: () => undefined } : await fromSources(book.base, modules);
const folder = await mkdtemp(join(tmpdir(), 'pictures-'));
/** @type {import('./walk.mjs').World} */
const world = { chromium, executablePath: argument('browser', '/usr/bin/chromium'), axe: '', book, base: way.base, folder, complaints: [], before: new Set(await applications(book.owner)), technician };
const { now } = await book.office('GET', '/api/v1/me', undefined, 200);

const browser = await chromium.launch({ executablePath: world.executablePath, args: ['--no-sandbox'] });
for (const [size, viewport] of argument('part', '') === 'phone' ? [] : /** @type {[string, any][]} */ ([['desk', { width: 1100, height: 820 }], ['phone', { width: 390, height: 800 }]])) {
  const page = await (await browser.newContext({ viewport })).newPage();
  await signIn(world, page);
  for (const path of [...(await deskPages(world)), '/', '/help', '/help/check', '/help/server']) {
    await page.goto(world.base + path, { waitUntil: 'networkidle' });
    await page.screenshot({ path: join(into, `${size}${path.replace(/[?].*/, '').replace(/[/][0-9a-f-]{36}/, '-one').replaceAll('/', '-')}.png`) });
  }
  await takePass(size, viewport);
}
await browser.close();
for (const colorScheme of ['light', 'dark']) {
  const context = await phone(world, colorScheme, { colorScheme, viewport: { width: 390, height: 800 } });
  await setClock(context, Date.parse(now));
  const page = await enrol(world, context);
  const take = (/** @type {string} */ name) => takeWhole(page, colorScheme, name);
  await take('day');
  const stop = openStops(page).first();
  await stop.click();
  await take('place');
  await page.getByRole('button', { name: 'Back to the day' }).click();
  await arrive(page, stop);
  // In a picture of the whole page, what stays at the foot of a screen would lie across its middle.
  await page.evaluate(() => void (/** @type {HTMLElement} */ (document.querySelector('.foot')).style.position = 'static'));
  await take('before');
  // What comes first of it, for the README: the whole is long.
  await page.screenshot({ path: join(into, `${colorScheme}-stop.png`), fullPage: true, clip: { x: 0, y: 0, width: 390, height: 1450 } });
  await start(page);
  await take('work');
  await page.getByRole('button', { name: 'Finish' }).click();
  await page.getByRole('button', { name: 'Part of it' }).first().click();
  await take('after');
  // A slipped decimal point, which Maryland's cap refuses.
  await page.getByRole('button', { name: 'All of it' }).first().click();
  await firstAmount(page).fill('260');
  await page.getByRole('button', { name: 'Yes' }).click();
  for (let press = 0; press < 2; press += 1) await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('button', { name: '1 record was refused' }).click();
  await page.getByRole('heading', { name: 'Records that were refused' }).waitFor();
  await take('refused');
  await context.close();
  await takeRecord(colorScheme);
}
await rm(folder, { recursive: true, force: true });
way.stop();
book.stop();

/** What somebody from outside sees with a pass. @param {string} size @param {any} viewport */
async function takePass(size, viewport) {
  await book.owner('PUT', '/api/v1/sessions/current/confirmation', { password: book.password }, 200);
  const { code } = await book.owner('POST', '/api/v1/passes', { name: 'Inspector of the state', whole_company: true, days: 3 }, 201);
  const page = await (await browser.newContext({ viewport })).newPage();
  const take = (/** @type {string} */ name) => page.screenshot({ path: join(into, `${size}-pass-${name}.png`) });
  await page.goto(`${world.base}/inspector`);
  await take('code');
  await page.getByLabel('Code of the pass').fill(code);
  await page.getByRole('button', { name: 'Open' }).click();
  await page.getByRole('heading', { name: 'what this pass shows' }).waitFor();
  await take('shows');
  await page.getByRole('link', { name: /^statement of/ }).first().click();
  await take('statement');
  const record = page.locator('a.day').first();
  if (await record.count()) {
    await record.click();
    await take('record');
  }
}

/** What the law of a stop asks, and a lawn in parts. @param {string} colorScheme */
async function takeRecord(colorScheme) {
  const { visit } = await stopUnder(world, 'us-va', { parts: ['front half', 'east of the drive'] });
  const context = await phone(world, `record-${colorScheme}`, { colorScheme, viewport: { width: 390, height: 800 } });
  const page = await enrol(world, context);
  const take = (/** @type {string} */ name) => takeWhole(page, colorScheme, name);
  await arrive(page, stopOf(page, visit));
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await page.getByRole('button', { name: 'Part of it' }).click();
  await page.getByRole('button', { name: 'east of the drive' }).click();
  await firstAmount(page).fill('260');
  await page.getByRole('button', { name: 'Yes' }).click();
  for (const at of [0, 1]) await page.locator('.record').getByRole('button', { name: 'Not known' }).nth(at).click();
  await take('record');
  await page.getByText('More for the record (optional)').click();
  await page.getByRole('button', { name: 'Sign', exact: true }).click();
  await page.getByRole('button', { name: 'Whoever comes by' }).click();
  await take('more');
  await context.close();
}

/** @param {any} page @param {string} colorScheme @param {string} name */
async function takeWhole(page, colorScheme, name) {
  // The line at the top of a screen would lie across the middle of a picture of the whole.
  await page.evaluate(() => scrollTo(0, 0));
  await page.screenshot({ path: join(into, `${colorScheme}-${name}.png`), fullPage: true });
}
