// @ts-check
// What was begun and is not saved stays on the phone: through a tap on the wrong button, a colleague's turn, a new version.

import assert from 'node:assert/strict';

import { added, allSent, enrol, enrolAgain, fillStop, firstAmount, firstStop, openStops, phone, recordStop, start } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** @param {World} world */
export async function signingOutAsks(world) {
  const context = await phone(world, 'leaving');
  const page = await enrol(world, context);
  const stop = await firstStop(page);
  const address = /^\d+\. (.*)$/.exec((await stop(page).locator('strong').textContent()) ?? '')?.[1] ?? assert.fail('a stop has an address');
  await fillStop(page, stop(page));
  await page.goBack();
  await page.getByRole('button', { name: 'Sign out and erase' }).click();
  // Named, with the safe way first. The list names begun work too, so the page itself is waited for.
  await page.getByRole('heading', { name: 'Sign out and erase?' }).waitFor();
  await page.locator('li', { hasText: address }).getByText(/begun at \d/).waitFor();
  const ways = await page.locator('#main button').allTextContents();
  assert.deepEqual(ways, ['Keep it and go back', 'Erase this work and sign out']);
  await page.getByRole('button', { name: 'Keep it and go back' }).click();
  await stop(page).filter({ hasText: 'begun at' }).waitFor();
  await page.reload();
  await stop(page).filter({ hasText: 'begun at' }).click();
  assert.notEqual(await firstAmount(page).inputValue(), '');
  await page.goBack();
  await page.getByRole('button', { name: 'Sign out and erase' }).click();
  await page.getByRole('button', { name: 'Erase this work and sign out' }).click();
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  await enrolAgain(world, page, world.technician);
  await stop(page).filter({ hasNotText: 'begun at' }).waitFor();
  await context.close();
}

/** @param {World} world */
export async function aColleaguesTurn(world) {
  const colleague = await world.book.owner('POST', '/api/v1/people', { name: 'Tech 02', role: 'technician' }, 201);
  const context = await phone(world, 'turn');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  await page.route('**/api/v1/applications/*', (/** @type {any} */ route) => route.abort());
  await recordStop(page, openStops(page).first());
  const stop = await firstStop(page);
  await fillStop(page, stop(page));
  const typed = await firstAmount(page).inputValue();
  await enrolAgain(world, page, colleague.id);
  // The colleague sees nothing of it, and erases only what is the colleague's own.
  assert.equal(await page.locator('.stop-button').count(), 0);
  await page.getByText('1 of a colleague').waitFor();
  await page.getByRole('button', { name: 'Sign out and erase' }).click();
  await page.getByRole('button', { name: 'Erase and sign out' }).click();
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  await page.unroute('**/api/v1/applications/*');
  await enrolAgain(world, page, world.technician);
  await allSent(page);
  assert.equal((await added(world)).length, known + 1);
  await stop(page).filter({ hasText: 'begun at' }).click();
  assert.equal(await firstAmount(page).inputValue(), typed);
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  assert.equal((await added(world)).length, known + 2);
  await context.close();
}

/** A download of which any part is missing leaves the day as it was, and says so. @param {World} world */
export async function aHalfDownload(world) {
  const label = new TextEncoder().encode('%PDF-1.7\n% kept\n%%EOF\n');
  for (const { id } of (await world.book.office('GET', '/api/v1/products?limit=200', undefined, 200)).items) {
    await world.book.office('POST', `/api/v1/products/${id}/files?kind=label`, label, 201);
  }
  const context = await phone(world, 'half');
  const page = await enrol(world, context);
  const stop = await firstStop(page);
  for (const end = Date.now() + 20_000; !(await page.evaluate(keptDay)).includes('/content'); ) assert.ok(Date.now() < end, 'the label is kept');
  const before = await page.evaluate(keptDay);
  const broken = { status: 503, contentType: 'application/problem+json', body: '{"title":"Not now","detail":"Not now","status":503,"code":"busy"}' };
  const empty = { status: 200, contentType: 'application/json', body: '{}' };
  for (const [path, reply] of /** @type {[string, any][]} */ ([['checks', broken], ['settings', empty], ['equipment?*', null], ['products/*/files?*', broken], ['days/*', empty]])) {
    // The third of its kind fails, or the first where there is one: half of the day has come by then.
    let asked = 0;
    await page.route(`**/api/v1/${path}`, (/** @type {any} */ route) => {
      asked += 1;
      if (path === 'checks' && asked !== 3) return route.continue();
      return reply === null ? route.abort() : route.fulfill(reply);
    });
    await page.reload();
    await page.getByText('The download did not finish').waitFor();
    assert.equal(await page.evaluate(keptDay), before, `${path} has come by half`);
    await page.unroute(`**/api/v1/${path}`);
  }
  await page.getByRole('button', { name: 'Download the day again' }).click();
  await page.getByText('The download did not finish').waitFor({ state: 'hidden' });
  // The label is still read where the work is.
  await stop(page).click();
  await page.getByRole('button', { name: 'I am at this address' }).click();
  await page.locator('li', { has: page.getByRole('link', { name: 'Label' }) }).getByText('on this phone').waitFor();
  await context.close();
}

/** In the page: the day as it is kept, and what is kept to read. @returns {Promise<string>} */
async function keptDay() {
  const read = caches.open('files').then(async (shelf) => (await shelf.keys()).map((one) => one.url).sort());
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open('swardbook');
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const found = asked.result.transaction('downloaded').objectStore('downloaded').get('day');
      found.onsuccess = async () => (asked.result.close(), resolve(JSON.stringify([found.result, await read])));
    };
  });
}

/** Work as the first version of the page kept it: by its visit alone, without an owner and an id. @param {World} world */
export async function anOlderVersionsWork(world) {
  const context = await phone(world, 'older');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  const stop = await firstStop(page);
  const visit = await stop(page).getAttribute('data-key');
  await stop(page).click();
  await page.getByRole('button', { name: 'I am at this address' }).click();
  await start(page);
  const begun = new Date(Date.parse((await world.book.office('GET', '/api/v1/me', undefined, 200)).now) - 60_000).toISOString();
  await page.evaluate(asItWasKept, { visit, here: true, ground: 'moist', started_at: begun, finished_at: '', air: '', equipment: 'rotary_spreader_with_deflector', used: {}, cleaned: '' });
  await page.reload();
  await stop(page).filter({ hasText: 'begun at' }).click();
  await fillStop(page, null);
  // What is typed last outlives the page too.
  const typed = (Number(await firstAmount(page).inputValue()) + 0.01).toFixed(2);
  await firstAmount(page).fill(typed);
  // A hand takes longer than that to close the page.
  await page.waitForTimeout(300);
  await page.reload();
  await stop(page).filter({ hasText: 'begun at' }).click();
  assert.equal(await firstAmount(page).inputValue(), typed);
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  assert.equal((await added(world)).length, known + 1);
  await context.close();
}

/** In the page: keeps begun work under its old name, and nothing under newer ones. @param {any} work @returns {Promise<void>} */
function asItWasKept(work) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open('swardbook');
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const change = asked.result.transaction('downloaded', 'readwrite');
      const shelf = change.objectStore('downloaded');
      shelf.delete(IDBKeyRange.bound('work/', 'work/\uffff'));
      shelf.put(work, `work/${work.visit}`);
      change.oncomplete = () => (asked.result.close(), resolve());
    };
  });
}
