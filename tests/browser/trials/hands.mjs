// @ts-check
// The phone in the hand: what works says so, what is about to be pressed stays where it is, and Enter goes on.

import assert from 'node:assert/strict';

import { arrive, enrol, firstAmount, firstStop, openStops, phone, see, start } from '../walk.mjs';
import { change, comeBack } from './changed.mjs';
import { stopOf, stopUnder } from './record.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** Lets what is asked here wait until it is let go. @param {any} page @param {string} path */
async function held(page, path) {
  /** @type {() => void} */
  let go = () => undefined;
  const gate = new Promise((resolve) => (go = () => resolve(undefined)));
  await page.route(path, async (/** @type {any} */ route) => {
    await gate;
    await route.continue();
  });
  return go;
}

/** @param {World} world */
export async function aDownloadSaysSo(world) {
  const context = await phone(world, 'busy');
  const page = await enrol(world, context);
  const day = await held(page, '**/api/v1/days/*');
  await page.getByRole('button', { name: 'Download the day again' }).click();
  await page.getByRole('button', { name: 'Downloading the day' }).waitFor();
  day();
  await page.getByRole('button', { name: 'Download the day again' }).waitFor();
  await context.close();
}

/** @param {World} world */
export async function startStays(world) {
  const context = await phone(world, 'stays');
  const page = await enrol(world, context);
  const stop = await firstStop(page);
  // Start is in sight, and the answer that comes above it does not push it away from the thumb.
  const answer = await held(page, '**/api/v1/checks');
  await arrive(page, stop(page));
  await see(page);
  const button = page.getByRole('button', { name: 'Start', exact: true });
  // Not every browser holds a page still by itself.
  await page.evaluate(() => void (document.documentElement.style.overflowAnchor = 'none'));
  await button.evaluate((/** @type {HTMLElement} */ start) => start.scrollIntoView({ block: 'end' }));
  const before = await button.boundingBox();
  assert.ok(before.y > 0 && before.y + before.height <= 740, `Start is in sight at ${before.y}`);
  answer();
  await page.getByText("Answered by the office's server").waitFor();
  assert.deepEqual(await button.boundingBox(), before, 'Start stays where it was');
  await context.close();
}

/** The answer comes while the finger is on Start: the tap counts all the same. @param {World} world */
export async function startIsHeard(world) {
  const context = await phone(world, 'heard');
  const page = await enrol(world, context);
  const answer = await held(page, '**/api/v1/checks');
  await arrive(page, openStops(page).first());
  await see(page);
  const button = page.getByRole('button', { name: 'Start', exact: true });
  await button.hover();
  await page.mouse.down();
  const answered = page.waitForResponse('**/api/v1/checks');
  answer();
  await (await answered).finished();
  // The answer is read and would be drawn by now.
  await page.evaluate(() => new Promise((resolve) => setTimeout(resolve, 300)));
  await page.mouse.up();
  await page.getByRole('button', { name: 'Finish' }).waitFor();
  await context.close();
}

/** What is against the start comes while the finger is on Start: nothing is begun, and it is read first. @param {World} world */
export async function aStopIsHeard(world) {
  const context = await phone(world, 'halted');
  const page = await enrol(world, context);
  const stop = await firstStop(page);
  // The list is drawn from this day's answers; only the one that is asked for at the stop says stop.
  await page.route('**/api/v1/checks', async (/** @type {any} */ route) => {
    const reply = await route.fetch();
    await new Promise((resolve) => setTimeout(resolve, 1500));
    const body = await reply.json();
    const finding = { ...body.decision.findings[0], verdict: 'stop', message: 'Heavy rain is expected here.' };
    await route.fulfill({ response: reply, json: { ...body, decision: { ...body.decision, verdict: 'stop', summary: 'Stop: heavy rain.', findings: [finding] } } });
  });
  await arrive(page, stop(page));
  const answered = page.waitForResponse('**/api/v1/checks');
  await see(page);
  const button = page.getByRole('button', { name: 'Start', exact: true });
  await button.hover();
  await page.waitForTimeout(900);
  await page.mouse.down();
  const down = Date.now();
  await (await answered).finished();
  assert.ok(Date.now() - down < 900, 'the answer came while the finger was down');
  await page.waitForTimeout(Math.max(0, 900 - (Date.now() - down)));
  await page.mouse.up();
  await nothingBegun(page, 'Start against the rule (the owner will see it)');
  await page.getByRole('button', { name: 'Back to the day' }).click();
  await stop(page).filter({ hasNotText: 'begun' }).waitFor();
  await context.close();
}

/** The visit is called off while the finger is on Start. @param {World} world */
export async function aCancellationIsHeard(world) {
  const context = await phone(world, 'called-off');
  const page = await enrol(world, context);
  const stop = openStops(page).last();
  const id = /** @type {string} */ (await stop.getAttribute('data-key'));
  await arrive(page, stop);
  await see(page);
  await page.getByText("Answered by the office's server").waitFor();
  // Of the new day, what became of this visit is asked last; it is answered in the middle of the tap.
  const fate = await held(page, `**/api/v1/visits/${id}`);
  const asked = page.waitForRequest(`**/api/v1/visits/${id}`);
  await change(world, id, { status: 'cancelled', reason: 'The client called' });
  await page.getByRole('button', { name: 'Start', exact: true }).hover();
  await comeBack(page);
  await asked;
  await page.mouse.down();
  fate();
  await page.waitForTimeout(1000);
  await page.mouse.up();
  await nothingBegun(page, 'Start against the plan');
  await context.close();
}

/** Start was not heard, and says now what it would do. @param {any} page @param {string} words */
async function nothingBegun(page, words) {
  await page.getByRole('button', { name: words }).waitFor();
  // A second tap at once is one that was meant for the first.
  await page.getByRole('button', { name: words }).click();
  await page.waitForTimeout(200);
  assert.equal(await page.getByRole('button', { name: 'Finish' }).count(), 0, 'no work is begun');
}

/** @param {World} world */
export async function enterGoesOn(world) {
  const context = await phone(world, 'enter');
  const page = await enrol(world, context);
  await arrive(page, openStops(page).first());
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await page.getByRole('button', { name: 'Part of it' }).first().click();
  const focused = () => page.evaluate(() => [document.activeElement?.id, document.activeElement?.textContent]);
  await page.keyboard.type('100');
  await page.keyboard.press('Enter');
  assert.match((await focused())[0], /^used-/);
  await page.keyboard.press('Enter');
  assert.equal((await focused())[1], 'Yes', 'the pavement is asked next');
  await page.locator('#air').focus();
  await page.keyboard.press('Enter');
  assert.equal((await focused())[1], 'Save');
  await firstAmount(page).waitFor();
  await context.close();
}

/** What may go down is asked for the machine that was calibrated with the product. @param {World} world */
export async function theDeflectorIsKnown(world) {
  const { office } = world.book;
  const product = (await office('GET', '/api/v1/products', undefined, 200)).items.find((/** @type {any} */ one) => one.name.startsWith('Feed 24'));
  const machine = await office('POST', '/api/v1/equipment', { name: 'Spreader 09', kind: 'rotary_spreader', has_deflector: true, hopper_lb: '80', active: true }, 201);
  const course = { method: 'course', put_in_lb: '10', left_over_lb: '5.2', swath_ft: '8', swath_by: 'half_of_centre', distance_ft: '125', target_lb_per_1000_sqft: '5' };
  await office('POST', '/api/v1/calibrations', { equipment_id: machine.id, product_id: product.id, person_id: world.technician, calibrated_on: '2026-09-14', test: course }, 201);
  const context = await phone(world, 'deflector');
  /** @type {Set<string>} */
  const asked = new Set();
  context.on('request', (/** @type {any} */ request) => request.url().endsWith('/api/v1/checks') && request.postDataJSON().product_id === product.id && asked.add(request.postDataJSON().equipment));
  const page = await enrol(world, context);
  assert.deepEqual([...asked], ['rotary_spreader_with_deflector']);
  await arrive(page, openStops(page).first());
  await page.getByText('for a rotary spreader with deflector').waitFor();
  await context.close();
}

/**
 * Once ground and spreader are said, place, amount, verdict and Start stand on one screen of 360 by 740, without scrolling; what was
 * said is a line that can be changed. A verdict of many words at the foot may still lie over the amount until one scrolls.
 * @param {World} world
 */
export async function oneScreenAnswers(world) {
  const { visit } = await stopUnder(world, 'us-va');
  const context = await phone(world, 'one-screen', { viewport: { width: 360, height: 740 } });
  const page = await enrol(world, context);
  await arrive(page, stopOf(page, visit));
  await see(page);
  await page.getByText('Moist ground, rotary spreader with deflector.').waitFor();
  await page.evaluate(() => scrollTo(0, 0));
  const named = { place: page.locator('h1'), amount: page.locator('.figure strong').first(), verdict: page.locator('.foot .state'), start: page.getByRole('button', { name: 'Start', exact: true }) };
  for (const [what, place] of Object.entries(named)) {
    const box = await place.boundingBox();
    assert.ok(box !== null && box.y >= 0 && box.y + box.height <= 740, `${what} is on the first screen: ${JSON.stringify(box)}`);
  }
  assert.match((await named.verdict.textContent()) ?? '', /^[●▲] (Go|Care): .+/, 'the verdict is a sentence');
  await page.getByRole('button', { name: 'Change' }).click();
  await page.getByRole('button', { name: 'Dry' }).click();
  await page.getByText('Dry ground, rotary spreader with deflector.').waitFor();
  await context.close();
}
