// @ts-check
// Whatever the server and the phone answer while a record is on its way.

import assert from 'node:assert/strict';

import { enrolmentCode } from '../book.mjs';
import { added, allSent, enrol, firstAmount, openStops, phone, recordStop } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

const SENDING = '**/api/v1/applications/*';

/** @param {any} route @param {number} status */
const refuse = (route, status) =>
  route.fulfill({ status, headers: { 'retry-after': '1' }, contentType: 'application/problem+json', body: JSON.stringify({ title: 'Not now', detail: 'Not now', status, code: 'busy' }) });

/** @param {World} world */
export async function aLostReply(world) {
  const context = await phone(world, 'lost');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  // The worst moment: the record is in the book, and the phone does not hear of it. Then the server is in trouble.
  const answers = ['lost', 503, 429, 408, 500];
  await page.route(SENDING, async (/** @type {any} */ route) => {
    const answer = answers.shift();
    if (answer === undefined) return route.continue();
    if (typeof answer === 'number') return refuse(route, answer);
    await route.fetch();
    return route.abort();
  });
  const stop = page.locator(`[data-key="${await openStops(page).last().getAttribute('data-key')}"]`);
  await recordStop(page, stop);
  await allSent(page);
  assert.equal(answers.length, 0);
  assert.equal((await added(world)).length, known + 1);
  // Sent, it is not open again: neither on the list as it stands, nor on the list of a page that could not download the day since.
  await stop.filter({ hasText: '✓ recorded' }).waitFor();
  await page.route('**/api/v1/days/*', (/** @type {any} */ route) => route.abort());
  await page.reload();
  await page.getByText('The download did not finish').waitFor();
  await stop.filter({ hasText: '✓ recorded' }).click();
  await page.getByText('This stop is recorded already').waitFor();
  await context.close();
}

/** Only the record itself takes it off the phone: not an empty answer, another record, or a page in between. @param {World} world */
export async function aForeignReply(world) {
  const context = await phone(world, 'foreign');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  const portal = '<!doctype html><title>Sign in to the network</title>';
  const replies = [
    { status: 200, contentType: 'application/json', body: '{}' },
    { status: 201, contentType: 'application/json', body: JSON.stringify({ id: [...world.before][0] }) },
    { status: 200, contentType: 'text/html', body: portal },
    { status: 404, contentType: 'application/json', body: '{}' },
    { status: 401, contentType: 'text/html', body: portal },
  ];
  let tries = 0;
  await page.route(SENDING, (/** @type {any} */ route) => {
    const reply = replies[tries];
    tries += 1;
    return reply ? route.fulfill({ ...reply, headers: { 'retry-after': '2' } }) : route.continue();
  });
  await recordStop(page, openStops(page).first());
  for (let seen = 1; seen <= replies.length; seen += 1) {
    await page.getByText('1 waiting. The reply was not the record; trying again').waitFor();
    while (tries < seen) await page.waitForTimeout(50);
    assert.equal((await added(world)).length, known, 'nothing is in the book yet');
  }
  await allSent(page);
  assert.equal(tries, replies.length + 1);
  assert.equal((await added(world)).length, known + 1);
  await context.close();
}

/** @param {World} world */
export async function aRefusedRecord(world) {
  const context = await phone(world, 'refused');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  await recordStop(page, openStops(page).first(), '260');
  await page.getByText('260 lb on the').waitFor();
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByText('1 record was refused').waitFor();
  await page.locator('.stop-button', { hasText: 'its record was refused' }).waitFor();
  await recordStop(page, openStops(page).last());
  await page.locator('#queue', { hasNotText: '●' }).waitFor();
  assert.equal((await added(world)).length, known + 1, 'the other one went through');
  await page.getByRole('button', { name: '1 record was refused' }).click();
  await page.getByRole('button', { name: 'Send, against the rule' }).click();
  await page.getByText('Read every reason').waitFor();
  for (const box of await page.locator('.finding input').all()) await box.check();
  await page.locator('textarea').fill('The gate of the hopper stuck.');
  await page.getByRole('button', { name: 'Send, against the rule' }).click();
  await allSent(page);
  assert.equal((await added(world)).length, known + 2);
  await context.close();
}

/** A record that lies in the book with other figures comes back to its technician, and blocks no other. @param {World} world */
export async function anotherContent(world) {
  const context = await phone(world, 'content');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  let tries = 0;
  await page.route(SENDING, async (/** @type {any} */ route) => {
    tries += 1;
    if (tries > 2) return route.continue();
    const sent = route.request().postDataJSON();
    // The second time, other figures stand under the same id.
    if (tries === 2) return route.continue({ postData: JSON.stringify({ ...sent, lines: [{ ...sent.lines[0], product_lb: '1.5' }] }) });
    await route.fetch();
    return refuse(route, 503);
  });
  await recordStop(page, openStops(page).first());
  await page.getByText('1 record was refused').waitFor();
  await recordStop(page, openStops(page).last());
  await page.locator('#queue', { hasNotText: '●' }).waitFor();
  await page.getByRole('button', { name: '1 record was refused' }).click();
  await page.locator('article').getByText(/^The amounts used:/).first().waitFor();
  assert.equal((await added(world)).length, known + 2);
  await context.close();
}

/** @param {World} world */
export async function anEndedSession(world) {
  const context = await phone(world, 'session');
  const page = await enrol(world, context);
  for (const path of ['/year', '/office', '/reviews', '/rules', '/office/people']) {
    const answer = await context.request.get(`${world.base}${path}`);
    assert.equal(answer.status(), 403, path);
  }
  for (const path of ['/api/v1/statements/company?year=2026', '/api/v1/journal']) {
    assert.equal((await context.request.get(`${world.base}${path}`)).status(), 403, path);
  }
  const known = (await added(world)).length;
  // It ends between the question who I am and the record, and then for good.
  let ended = 1;
  await page.route(SENDING, (/** @type {any} */ route) => refuse(route, 401));
  await recordStop(page, openStops(page).first());
  await page.getByText('Connect this phone again to send').waitFor();
  await page.route('**/api/v1/me', (/** @type {any} */ route) => ((ended += 1), refuse(route, 401)));
  await recordStop(page, openStops(page).first());
  await page.getByText('2 waiting. Connect this phone again to send').waitFor();
  assert.ok(ended > 1);
  assert.equal((await added(world)).length, known);
  await page.unrouteAll();
  // Now it ends on the server too: the phone is locked out, and a new code is the way on.
  const phones = (await world.book.office('GET', '/api/v1/devices?limit=200', undefined, 200)).items;
  await world.book.office('PUT', '/api/v1/sessions/current/confirmation', { password: world.book.password }, 200);
  await world.book.office('DELETE', `/api/v1/devices/${phones.at(-1).id}`, undefined, 200);
  await page.reload();
  await page.getByText('2 waiting. Connect this phone again to send').waitFor();
  await page.getByRole('button', { name: 'Connect again' }).click();
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  await page.getByRole('button', { name: 'Back to the day' }).click();
  const { code } = await enrolmentCode(world.book.office);
  await page.goto('about:blank');
  await page.goto(`${world.base}/phone#${code}`);
  await page.getByRole('button', { name: 'Connect', exact: true }).click();
  await allSent(page);
  assert.equal((await added(world)).length, known + 2);
  assert.equal(await page.locator('.stop-button', { hasText: 'waiting to be sent' }).count(), 0);
  await context.close();
}

/** A full phone says so, keeps the figures on the screen, and nothing is taken for kept that is not. @param {World} world */
export async function aFullPhone(world) {
  const context = await phone(world, 'full');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  await page.evaluate(() => {
    const put = IDBObjectStore.prototype.put;
    const all = /** @type {any} */ (globalThis);
    all.makeRoom = () => (IDBObjectStore.prototype.put = put);
    IDBObjectStore.prototype.put = function full() {
      throw new DOMException('The phone is full.', 'QuotaExceededError');
    };
  });
  await recordStop(page, openStops(page).first(), '1.11');
  const save = page.getByRole('button', { name: 'Save' });
  if (await page.getByText('is not usual').isVisible()) await save.click();
  await page.getByText('could not keep the record').waitFor();
  assert.equal(await firstAmount(page).inputValue(), '1.11');
  assert.equal((await added(world)).length, known);
  await page.evaluate(() => /** @type {any} */ (globalThis).makeRoom());
  await save.click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  assert.equal((await added(world)).length, known + 1);
  // A browser that keeps nothing at all takes no record.
  await context.addInitScript(() => {
    IDBFactory.prototype.open = () => {
      throw new DOMException('Storage is not allowed here.', 'SecurityError');
    };
  });
  await page.reload();
  await page.getByRole('heading', { name: 'This browser keeps nothing' }).waitFor();
  assert.equal(await page.locator('.stop-button').count(), 0);
  await context.close();
}
