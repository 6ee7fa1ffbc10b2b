// @ts-check
// Steps that several trials take: a phone, its enrolment, a stop from the list to the list, and what makes a page sound.

import assert from 'node:assert/strict';
import { join } from 'node:path';

import { applications, enrolmentCode } from './book.mjs';

/** @typedef {{ chromium: any, executablePath: string, axe: string, book: any, base: string, folder: string, complaints: string[], before: Set<string>, technician: string }} World */

/** Refusals are answered on purpose in these trials, and the browser notes each of them. */
const EXPECTED = /Failed to load resource|net::ERR_/;

/** Keeps what a page complains of. @param {World} world @param {any} page */
export function listen(world, page) {
  page.on('console', (/** @type {any} */ message) => message.type() === 'error' && !EXPECTED.test(message.text()) && world.complaints.push(`${page.url()}: ${message.text()}`));
  // A part of a page that is missing is a fault, whatever the browser calls it; only answers of the API are refusals on purpose.
  page.on('response', (/** @type {any} */ reply) => reply.status() >= 400 && reply.request().resourceType() !== 'document' && !new URL(reply.url()).pathname.startsWith('/api/') && world.complaints.push(`${page.url()}: ${reply.url()} answered ${reply.status()}`));
  page.on('pageerror', (/** @type {Error} */ error) => world.complaints.push(`${page.url()}: ${error}`));
  return page;
}

/** A phone that can be killed and opened again. @param {World} world @param {string} name @param {object} [more] */
export async function phone(world, name, more = {}) {
  const options = { executablePath: world.executablePath, args: ['--no-sandbox'], viewport: { width: 360, height: 740 }, hasTouch: true, ...more };
  const context = await world.chromium.launchPersistentContext(join(world.folder, name), options);
  context.setDefaultTimeout(20_000);
  return context;
}

/** Enrols a phone of the technician. @param {World} world @param {any} context @param {string} [base] */
export async function enrol(world, context, base = world.base) {
  const { code } = await enrolmentCode(world.book.office);
  const page = listen(world, await context.newPage());
  await page.goto(`${base}/phone#${code}`);
  await page.getByRole('button', { name: 'Connect' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await page.evaluate(() => navigator.serviceWorker.ready);
  return page;
}

/** Signs out with nothing that is only on the phone: asked once, and done. @param {any} page */
export async function signOut(page) {
  await page.getByRole('button', { name: 'Sign out and erase' }).click();
  await page.getByRole('heading', { name: 'Sign out and erase?' }).waitFor();
  await page.getByRole('button', { name: 'Erase and sign out' }).click();
}

/** Enrols a phone that is somebody's already for somebody else, or again. @param {World} world @param {any} page @param {string} person */
export async function enrolAgain(world, page, person) {
  const { code } = await world.book.office('POST', `/api/v1/people/${person}/enrolment-codes`, {}, 201);
  await page.goto('about:blank');
  await page.goto(`${world.base}/phone#${code}`);
  await page.getByRole('button', { name: 'Connect', exact: true }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
}

/** The first open stop by a name that holds in each tab, however the list is drawn since. @param {any} page */
export async function firstStop(page) {
  const key = await openStops(page).first().getAttribute('data-key');
  return (/** @type {any} */ tab) => tab.locator(`[data-key="${key}"]`);
}

/** Lets the clock of a phone stand at a moment, and go on from there. @param {any} context @param {number} moment */
export const setClock = (context, moment) =>
  context.addInitScript((/** @type {number} */ ahead) => {
    const Right = Date;
    globalThis.Date = /** @type {any} */ (class extends Right {
      /** @param {any[]} given */
      constructor(...given) {
        if (given.length === 0) super(Right.now() + ahead);
        else super(.../** @type {[number]} */ (given));
      }
      static now() {
        return Right.now() + ahead;
      }
    });
  }, moment - Date.now());

/** Records that came in since the trials began. @param {World} world */
export const added = async (world) => (await applications(world.book.owner)).filter((id) => !world.before.has(id));

/** Stops of the list that are still to be made and may be. @param {any} page */
export const openStops = (page) => page.locator('.stop-button', { hasNotText: /waiting to be sent|refused|✓|■/ });

/** Opens a stop and says that it is the right place. @param {any} page @param {any} stop @param {(locator: any) => Promise<void>} [tap] */
export async function arrive(page, stop, tap = (locator) => locator.click()) {
  await tap(stop);
  await tap(page.getByRole('button', { name: 'I am at this address' }));
  await page.getByRole('button', { name: 'Start', exact: true }).waitFor();
}

/** Says what was seen. @param {any} page @param {(locator: any) => Promise<void>} [tap] */
export async function see(page, tap = (locator) => locator.click()) {
  // Once all is said, the questions give way to a line; a phone that knows its spreader asks for the ground alone.
  const spreader = page.locator('fieldset', { hasText: 'With' });
  const asked = (await spreader.locator('[aria-pressed=true]').count()) === 0;
  await tap(page.getByRole('button', { name: 'Moist' }));
  if (asked) await tap(page.getByRole('button', { name: 'Rotary spreader with deflector' }));
}

/** Says what was seen, and starts. @param {any} page @param {(locator: any) => Promise<void>} [tap] */
export async function start(page, tap = (locator) => locator.click()) {
  await see(page, tap);
  await tap(page.getByRole('button', { name: 'Start', exact: true }));
}

/** The amount that was planned for a section. @param {any} page @param {number} [at] which of those that are asked about */
export async function usualAmount(page, at = 0) {
  const usual = await page.locator('.ground .amount small').nth(at).textContent();
  return /Planned ([\d.]+) lb/.exec(usual ?? '')?.[1] ?? assert.fail(`no planned amount in: ${usual}`);
}

/** The field of the amount used that stands first. @param {any} page */
export const firstAmount = (page) => page.locator('input[id^="used-"]').first();

/** Says that all of each section was treated, and with how much. @param {any} page @param {string} [amount] @param {(locator: any) => Promise<void>} [tap] */
export async function treatAll(page, amount, tap = (locator) => locator.click()) {
  const all = page.getByRole('button', { name: /^All (of it|that was open)$/ });
  for (let at = 0; (await all.count()) > 0; at += 1) {
    await tap(all.first());
    // The number is asked next, so the field has the focus already.
    await page.keyboard.type(amount ?? (await usualAmount(page, at)));
  }
}

/**
 * The common path of one stop, from the list to the list. Answers the taps that it took; typing the number is not counted,
 * the tap into its field is.
 * @param {any} page @param {any} stop @param {string} [amount]
 */
export async function recordStop(page, stop, amount) {
  let taps = 0;
  const tap = async (/** @type {any} */ locator) => {
    taps += 1;
    await locator.click();
  };
  await arrive(page, stop, tap);
  await start(page, tap);
  await tap(page.getByRole('button', { name: 'Finish' }));
  await treatAll(page, amount, tap);
  await tap(page.getByRole('button', { name: 'Yes' }));
  await tap(page.getByRole('button', { name: 'Save' }));
  // Kept on the phone, it leads back to the list; an amount that is asked about again does not.
  if (amount === undefined) await page.getByRole('heading', { name: /September 15/ }).waitFor();
  return taps;
}

/**
 * A stop from the list as far as the button of this name, and not pressed; from where the page stands without a stop.
 * @param {any} page @param {any} stop @param {'Start' | 'Finish' | 'Save'} [as]
 */
export async function fillStop(page, stop, as = 'Save') {
  if (stop !== null) {
    await arrive(page, stop);
    await see(page);
    if (as === 'Start') return;
    await page.getByRole('button', { name: 'Start', exact: true }).click();
  }
  const finish = page.getByRole('button', { name: 'Finish' });
  if (as === 'Finish') return finish.waitFor();
  await finish.click();
  await treatAll(page);
  await page.getByRole('button', { name: 'Yes' }).click();
  await page.getByRole('button', { name: '✓ Yes' }).waitFor();
}

/** Waits until nothing is left on the phone; says what the phone says if something stays. @param {any} page */
export async function allSent(page) {
  try {
    await page.getByText('Nothing is waiting to be sent').waitFor({ timeout: 60_000 });
  } catch (error) {
    const bar = await page.locator('#queue').textContent();
    const need = page.getByRole('button', { name: /refused/ });
    const why = (await need.count()) === 0 ? '' : (await need.click(), await page.locator('article').first().textContent());
    throw new Error(`not everything was sent: ${bar} ${why}`, { cause: error });
  }
}

/** Signs the owner in. @param {World} world @param {any} page @param {string} [to] */
export async function signIn(world, page, to = '/year') {
  await page.goto(`${world.base}/sign-in?to=${to}`);
  await page.fill('#name', 'owner');
  await page.fill('#password', world.book.password);
  await page.getByRole('button', { name: 'Sign in' }).click();
  await page.waitForURL(`${world.base}${to}`);
}

/** The first of a list of the book, or what is made when there is none. @param {any} book @param {string} path @param {any} made */
async function firstOr(book, path, made) {
  const [first] = (await book('GET', `${path}?limit=1`, undefined, 200)).items;
  return first ?? (await book('POST', path, made, 201));
}

/** What the desk has pages of, and the demonstration may not: a machine, its calibration, a programme, a report. @param {World} world */
async function deskThings(world) {
  const { office } = world.book;
  const property = (await office('GET', '/api/v1/properties?limit=1', undefined, 200)).items[0];
  const section = (await office('GET', `/api/v1/sections?property_id=${property.id}&limit=1`, undefined, 200)).items[0];
  const product = (await office('GET', '/api/v1/products?limit=1', undefined, 200)).items[0];
  const machine = await firstOr(office, '/api/v1/equipment', { name: 'Spreader 01', kind: 'rotary_spreader', hopper_lb: '120', active: true });
  const course = { method: 'course', put_in_lb: '10', left_over_lb: '5.2', swath_ft: '8', swath_by: 'half_of_centre', distance_ft: '125', target_lb_per_1000_sqft: '5' };
  const calibration = await firstOr(office, '/api/v1/calibrations', { equipment_id: machine.id, product_id: product.id, person_id: world.technician, calibrated_on: '2026-09-14', test: course });
  const programme = await firstOr(office, '/api/v1/programmes', {
    name: 'Cool-season lawns', season_year: 2026, equipment: 'rotary_spreader_with_deflector', least_product_lb_per_1000_sqft: '0.5',
    rounds: [{ name: 'early autumn', from: '2026-09-01', to: '2026-09-30' }, { name: 'late autumn', from: '2026-10-01', to: '2026-11-15' }],
    products: [{ product_id: product.id, bag_price_usd: '31', may_buy: true }],
    needs: [{ nitrogen_lb_per_1000_sqft: '2', because: 'Our own practice' }],
  });
  const from = { lawn: [{ shape: 'rectangle', length_ft: '100', width_ft: '80' }], not_lawn: [], reading_error_ft: '0.5' };
  const measured = { measured_on: '2026-09-14', method: 'tape', measured_by: 'Tech 01', from };
  const measurement = await firstOr(office, `/api/v1/sections/${section.id}/measurements`, measured);
  const sampled = { sampled_on: '2026-03-02', laboratory: 'Laboratory 01', extractant: 'mehlich_3', ph: '5.8' };
  const report = await firstOr(office, `/api/v1/sections/${section.id}/soil-reports`, sampled);
  const sighting = await office('POST', `/api/v1/sections/${section.id}/sightings`, { seen_on: '2026-09-14', species: section.species ?? 'tall_fescue', note: 'Looked at it.' }, 201);
  return { property, section, product, machine, calibration, programme, measurement, report, sighting };
}

/** The addresses of all pages that are not the phone's. @param {World} world */
export async function deskPages(world) {
  const { property, section, product, machine, calibration, programme, measurement, report, sighting } = await deskThings(world);
  const first = async (/** @type {string} */ list) => (await world.book.owner('GET', `/api/v1/${list}?limit=1`, undefined, 200)).items[0];
  const [visit, person, review, device] = [await first('visits'), await first('people'), await first('reviews'), await first('devices')];
  const [record] = await applications(world.book.owner);
  const client = `/office/clients/${property.client_id}`;
  const at = `/office/sections/${section.id}`;
  const season = `/office/programmes/${programme.id}`;
  const round = encodeURIComponent(programme.rounds[0].name);
  const shapes = 'lawn1=rectangle&lawn2=offsets&lawn3=outline&off1=circle';
  return [
    '/office', '/office/find?q=street', '/office/week', '/office/week/2026-09-15', '/office/clients', '/office/clients/new', client, `${client}/properties/new`,
    `/office/properties/${property.id}`, `/office/properties/${property.id}/edit`, `/office/properties/${property.id}/sections/new`, `/office/properties/${property.id}/visits/new`, `/office/properties/${property.id}/weather`, `/office/properties/${property.id}/weather?day=2026-09-16&product_id=${product.id}`,
    `/office/history/${property.client_id}`, `/office/history/${property.id}`, `/office/history/${section.id}`, `/office/entries/${section.id}`, `/office/entries/${property.id}`,
    at, `${at}/measurements/new`, `${at}/measurements/shapes`, `${at}/measurements/shapes?${shapes}`, `/office/measurements/${measurement.id}`, `/office/measurements/${measurement.id}/correct`, `/office/sightings/${sighting.id}`,
    `${at}/divisions/new`, `${at}/soil-reports/new`, `/office/soil-reports/${report.id}`, `/office/soil-reports/${report.id}/correct`, `${at}/plan`, `${at}/plan?programme_id=${programme.id}`, `${at}/plan?programme_id=&from=soon`, `/office/visits/${visit.id}`,
    '/office/products', '/office/products/new', `/office/products/${product.id}`, `/office/products/${product.id}/status`, `/office/products/${product.id}/lots/new`, `/office/products/${product.id}/stock/new`, `/office/products/${product.id}/files/new`,
    '/office/equipment', '/office/equipment/new', `/office/equipment/${machine.id}`, `/office/equipment/${machine.id}/calibrations/new`,
    `/office/equipment/${machine.id}/calibrations/new?method=course`, `/office/calibrations/${calibration.id}`,
    '/office/load-sheet', `/office/load-sheet?day=2026-09-15&person_id=${world.technician}&hopper_lb=50`,
    '/office/programmes', '/office/programmes/new', season, `${season}/plan`, `${season}/plan?work=yes`, `${season}/visits/new?round=${round}`,
    '/office/gaps', `/office/records/${record}/add`, '/office/password', '/office/sessions', '/office/security-log', '/office/passes', '/office/passes/new', '/office/settings', '/office/people', '/office/people/new', `/office/people/${person.id}`, `/office/people/${person.id}/code`, `/office/people/${person.id}/password-code`, `/office/people/${person.id}/credentials/new`, `/office/phones/${device.id}/lock-out`,
    '/year', `/year/${property.client_id}`, `/records/${record}`, `/records/${record}/correct`, '/reviews', ...(review ? [`/reviews/${review.record_id}`] : []), '/rules', '/nowhere',
  ];
}

/** Pages that everybody may see. */
export const OPEN_PAGES = ['/', '/sign-in', '/new-password', '/inspector', '/phone', '/problems/invalid', '/help', '/help?q=a+record+was+refused', '/help/server', '/help/law', '/help/style'];

/**
 * Nothing that a known rule of accessibility finds, and no sideways scroll. `strict` asks for a contrast of 7:1 too.
 * @param {World} world @param {any} page @param {string} what @param {boolean} [strict]
 */
export async function sound(world, page, what, strict = false) {
  await page.evaluate(world.axe);
  const options = { runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice'], rules: { 'color-contrast-enhanced': { enabled: strict } } };
  const found = await page.evaluate((/** @type {any} */ asked) => /** @type {any} */ (globalThis).axe.run(document, asked), options);
  assert.ok(found.passes.length > 5, `${what}: next to nothing was looked at`);
  const violations = found.violations.map((/** @type {any} */ one) => `${one.id}: ${one.nodes.map((/** @type {any} */ node) => `${node.html.slice(0, 120)} ${node.any[0]?.message ?? ''}`).join(' | ')}`);
  assert.deepEqual(violations, [], what);
  await notWide(page, what);
}

/** @param {any} page @param {string} what */
export async function notWide(page, what) {
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(wide <= 0, `${what} is ${wide} px too wide`);
}

/** Every target is large enough for a gloved thumb. @param {any} page @param {string} what */
export async function largeTargets(page, what) {
  const small = await page.evaluate(() => [...document.querySelectorAll('button, input:not([type=checkbox]), textarea, summary, label.finding')]
    .map((one) => ({ words: one.textContent || one.id, height: one.getBoundingClientRect().height, width: one.getBoundingClientRect().width }))
    .filter((one) => one.height > 0 && (one.height < 56 || one.width < 56)));
  assert.deepEqual(small, [], what);
}
