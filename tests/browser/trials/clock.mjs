// @ts-check
// A clock that is set while the phone works dates no record wrongly, and is told.

import assert from 'node:assert/strict';

import { added, allSent, arrive, enrol, fillStop, firstStop, openStops, phone, see } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** The phone's clock goes with the server's and so much beside it, in seconds, until it is set. @param {any} context @param {number} right @param {number} beside */
const clockBeside = (context, right, beside) =>
  context.addInitScript((/** @type {{ ahead: number, beside: number }} */ given) => {
    const Right = Date;
    const off = () => given.ahead + 1000 * Number(localStorage.getItem('beside') ?? given.beside);
    globalThis.Date = /** @type {any} */ (class extends Right {
      /** @param {any[]} from */
      constructor(...from) {
        if (from.length === 0) super(Right.now() + off());
        else super(.../** @type {[number]} */ (from));
      }
      static now() {
        return Right.now() + off();
      }
    });
  }, { ahead: right - Date.now(), beside });

/** @param {any} page @param {number} beside in seconds */
const setTo = (page, beside) => page.evaluate((/** @type {number} */ seconds) => localStorage.setItem('beside', String(seconds)), beside);

/**
 * One stop with the clock set in its middle. @param {World} world @param {string} name
 * @param {{ from: number, to: number, words: RegExp, anew: boolean }} how `anew`: the page is opened anew without a network since
 */
async function setInTheMiddle(world, name, { from, to, words, anew }) {
  const known = new Set(await added(world));
  const server = async () => Date.parse((await world.book.office('GET', '/api/v1/me', undefined, 200)).now);
  const context = await phone(world, name);
  await clockBeside(context, await server(), from);
  const page = await enrol(world, context);
  const stop = await firstStop(page);
  // Nothing may ask the server: what the phone counts itself is what is tried.
  await context.setOffline(true);
  await arrive(page, stop(page));
  await see(page);
  const began = await server();
  await page.getByRole('button', { name: 'Start', exact: true }).click();
  await page.getByRole('button', { name: 'Finish' }).waitFor();
  await setTo(page, to);
  if (anew) {
    await page.reload();
    await stop(page).click();
  }
  await page.getByText(words).first().waitFor();
  const ended = await server();
  await fillStop(page, null);
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  /** @type {any} */
  let sent = null;
  page.on('request', (/** @type {any} */ request) => request.url().includes('/api/v1/applications/') && (sent = request.postDataJSON()));
  await context.setOffline(false);
  await allSent(page);
  assert.equal((await added(world)).filter((id) => !known.has(id)).length, 1);
  const near = (/** @type {string} */ told, /** @type {number} */ moment, /** @type {string} */ what) => assert.ok(Math.abs(Date.parse(told) - moment) < 45_000, `${what}: ${told} beside ${new Date(moment).toISOString()}`);
  near(sent.started_at, began, 'the start by the server');
  near(sent.finished_at, ended, 'the end by the server');
  near(sent.phone_started_at, began + from * 1000, 'the start by the phone');
  near(sent.phone_finished_at, ended + to * 1000, 'the end by the phone');
  assert.ok(Math.abs(sent.clock_jump_s - (to - from)) < 45, `a jump of ${sent.clock_jump_s} s`);
  await context.close();
}

/** @param {World} world */
export async function aClockThatIsSet(world) {
  await setInTheMiddle(world, 'set-ahead', { from: 0, to: 600, words: /clock jumped 10 minutes ahead/, anew: false });
  await setInTheMiddle(world, 'set-right', { from: 26 * 3600, to: 0, words: /clock jumped 26 hours back/, anew: false });
  await setInTheMiddle(world, 'set-anew', { from: 1800, to: 0, words: /clock jumped 30 minutes back/, anew: true });
}

/** A clock that nobody touches leaves no mark. @param {World} world */
export async function aClockThatIsLeft(world) {
  const context = await phone(world, 'left');
  const page = await enrol(world, context);
  await fillStop(page, openStops(page).first());
  const sending = page.waitForRequest('**/api/v1/applications/*');
  await page.getByRole('button', { name: 'Save' }).click();
  const sent = (await sending).postDataJSON();
  assert.equal(sent.clock_jump_s, undefined);
  assert.ok(sent.phone_started_at && sent.phone_finished_at);
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  await context.close();
}

/** In a phone that sleeps the count stands still and its clock goes on: that is no jump, and the time that passed counts. @param {World} world */
export async function aPhoneThatSlept(world) {
  const context = await phone(world, 'slept');
  await clockBeside(context, Date.parse((await world.book.office('GET', '/api/v1/me', undefined, 200)).now), 0);
  const page = await enrol(world, context);
  await context.setOffline(true);
  await fillStop(page, openStops(page).first(), 'Finish');
  const show = (/** @type {string} */ state) =>
    page.evaluate((/** @type {string} */ now) => {
      Object.defineProperty(document, 'visibilityState', { value: now, configurable: true });
      document.dispatchEvent(new Event('visibilitychange'));
    }, state);
  await show('hidden');
  await setTo(page, 1800);
  await show('visible');
  await fillStop(page, null);
  assert.equal(await page.getByText(/clock jumped/).count(), 0);
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  const sending = page.waitForRequest('**/api/v1/applications/*');
  await page.route('**/api/v1/applications/*', (/** @type {any} */ route) => route.abort());
  await context.setOffline(false);
  const sent = (await sending).postDataJSON();
  const took = (Date.parse(sent.finished_at) - Date.parse(sent.started_at)) / 1000;
  assert.ok(took >= 1800 && took < 1860, `the work took ${took} s`);
  assert.equal(sent.clock_jump_s, undefined);
  await context.close();
}

/** Work that went on past midnight, on days whose ends are sure: a watering in and notices lie next to it. @param {World} world */
export async function pastMidnight(world) {
  const context = await phone(world, 'midnight');
  const page = await enrol(world, context);
  const told = await page.evaluate(async () => {
    const { seenFacts } = await import(/** @type {any} */ ('/modules/seen.js'));
    const notice = (/** @type {string} */ at) => ({ kind: 'sign', to: 'public', at });
    const seen = { watered: 'rain', at: '00:20', notices: ['23:40', '00:15', '22:00'].map(notice) };
    // From 23:50 to 00:10 by the clock of the company, which is four hours behind universal time on that day.
    const late = { started_at: '2026-09-13T03:50:00.000Z', finished_at: '2026-09-13T04:10:00.000Z', seen };
    // From 00:05 on: what was said before it lies on the day before.
    const early = { started_at: '2026-09-13T04:05:00.000Z', finished_at: '2026-09-13T04:30:00.000Z', seen: { notices: [notice('23:55')] } };
    return [late, early].map((work) => seenFacts(work, 'America/New_York').seen);
  });
  const at = (/** @type {any} */ seen) => seen.notices.map((/** @type {any} */ one) => one.at);
  assert.equal(told[0].watered_in.at, '2026-09-13T04:20:00.000Z');
  assert.deepEqual(at(told[0]), ['2026-09-13T03:40:00.000Z', '2026-09-13T04:15:00.000Z', '2026-09-13T02:00:00.000Z']);
  assert.deepEqual(at(told[1]), ['2026-09-13T03:55:00.000Z']);
  await context.close();
}
