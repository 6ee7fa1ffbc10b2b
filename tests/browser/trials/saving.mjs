// @ts-check
// One stop begun on one phone is one record, however often and wherever Save is pressed.

import assert from 'node:assert/strict';

import { added, allSent, enrol, fillStop, firstAmount, firstStop, listen, openStops, phone } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** Presses Save, and waits for the list. @param {any} page */
async function save(page) {
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
}

/** @param {World} world */
export async function aDoubleTap(world) {
  const context = await phone(world, 'double');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  await context.setOffline(true);
  const gaps = [0, 20, 50, 80, 110];
  for (const [done, gap] of gaps.entries()) {
    await fillStop(page, openStops(page).first());
    // Both taps reach the button, as they do when the page is slow to answer the first.
    await page.getByRole('button', { name: 'Save' }).evaluate((/** @type {HTMLElement} */ save, /** @type {number} */ wait) => {
      save.click();
      if (wait === 0) save.click();
      else setTimeout(() => save.click(), wait);
    }, gap);
    await page.getByText(`${done + 1} waiting`).waitFor();
    await page.waitForTimeout(gap + 150);
    await page.getByText(`${done + 1} waiting`).waitFor();
    await page.getByRole('heading', { level: 1, name: /September 15/ }).waitFor();
  }
  await context.setOffline(false);
  await allSent(page);
  assert.equal((await added(world)).length, known + gaps.length);
  await context.close();
}

/** @param {World} world */
export async function twoTabs(world) {
  const context = await phone(world, 'tabs');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  const stop = await firstStop(page);
  await fillStop(page, stop(page));
  // The other tab finds what was begun, figures and all, and saves it too: before it was sent, and after.
  const [second, third] = [listen(world, await context.newPage()), listen(world, await context.newPage())];
  for (const other of [second, third]) {
    await other.goto(`${world.base}/phone`);
    await stop(other).filter({ hasText: 'begun at' }).click();
    assert.notEqual(await firstAmount(other).inputValue(), '', 'what was typed is kept');
  }
  await context.setOffline(true);
  await save(page);
  await page.getByText('1 waiting').waitFor();
  await save(second);
  await second.getByText('was saved already').waitFor();
  await page.getByText('1 waiting').waitFor();
  await context.setOffline(false);
  await allSent(page);
  await save(third);
  await third.getByText('was saved already').waitFor();
  await allSent(third);
  assert.equal((await added(world)).length, known + 1);
  await context.close();
}

/** A phone that died after the record was kept and before the begun work was taken away. @param {World} world */
export async function aCrashWhileSaving(world) {
  let context = await phone(world, 'crash');
  let page = await enrol(world, context);
  const known = (await added(world)).length;
  const stop = await firstStop(page);
  await fillStop(page, stop(page));
  const begun = await page.evaluate(begunWork);
  assert.equal(begun.length, 1, 'what was begun is on the phone');
  await save(page);
  await allSent(page);
  assert.equal((await added(world)).length, known + 1);
  await page.evaluate(putBack, begun);
  await context.close();
  context = await phone(world, 'crash');
  page = listen(world, await context.newPage());
  await page.goto(`${world.base}/phone`);
  await stop(page).click();
  await page.getByRole('button', { name: /Save|I am at this address/ }).click();
  await page.getByText(/was saved already/).waitFor();
  await allSent(page);
  assert.equal((await added(world)).length, known + 1);
  await context.close();
}

/** Two tabs start the same stop at once: there is one beginning. @param {World} world */
export async function twoStarts(world) {
  const context = await phone(world, 'starts');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  const stop = await firstStop(page);
  const second = listen(world, await context.newPage());
  await second.goto(`${world.base}/phone`);
  await fillStop(page, stop(page), 'Start');
  await stop(second).click();
  await second.getByRole('button', { name: 'Start', exact: true }).waitFor();
  for (const one of [page, second]) {
    await one.getByRole('button', { name: 'Start', exact: true }).click();
    await one.getByRole('button', { name: 'Finish' }).waitFor();
  }
  await fillStop(page, null, 'Save');
  await fillStop(second, null, 'Save');
  await save(page);
  await allSent(page);
  await save(second);
  await second.getByText('was saved already').waitFor();
  await allSent(second);
  assert.equal((await added(world)).length, known + 1);
  await context.close();
}

/** In the page: what is kept of begun work, with its names. @returns {Promise<[string, any][]>} */
function begunWork() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open('swardbook');
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      /** @type {[string, any][]} */
      const found = [];
      const rows = asked.result.transaction('downloaded').objectStore('downloaded').openCursor();
      rows.onsuccess = () => {
        const row = rows.result;
        if (row === null) return void (asked.result.close(), resolve(found));
        if (String(row.key).startsWith('work/') && row.value?.started_at) found.push([String(row.key), row.value]);
        row.continue();
      };
    };
  });
}

/** In the page: puts it back as it was. @param {[string, any][]} begun @returns {Promise<void>} */
function putBack(begun) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open('swardbook');
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const change = asked.result.transaction('downloaded', 'readwrite');
      for (const [name, value] of begun) change.objectStore('downloaded').put(value, name);
      change.oncomplete = () => (asked.result.close(), resolve());
    };
  });
}
