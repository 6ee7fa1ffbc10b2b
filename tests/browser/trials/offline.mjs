// @ts-check
// Days without a network: nothing is lost, and each record arrives once.

import assert from 'node:assert/strict';

import { planVisits } from '../book.mjs';
import { between } from '../between.mjs';
import { added, allSent, arrive, enrol, listen, openStops, phone, recordStop, setClock, signOut } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** @param {World} world */
export async function aDayWithoutANetwork(world) {
  let context = await phone(world, 'day');
  let page = await enrol(world, context);
  const known = (await added(world)).length;
  await context.setOffline(true);
  const counted = new Set();
  for (let done = 0; done < 19; done += 1) {
    counted.add(await recordStop(page, openStops(page).first()));
    if (done === 9) {
      await context.close();
      context = await phone(world, 'day', { offline: true });
      page = listen(world, await context.newPage());
      await page.goto(`${world.base}/phone`);
      await page.getByText('10 waiting').waitFor();
    }
  }
  // The first stop of a phone asks for the spreader too.
  assert.deepEqual([...counted].sort(), [8, 9], 'taps of the common path');
  const second = listen(world, await context.newPage());
  await second.goto(`${world.base}/phone`);
  await recordStop(second, openStops(second).first());
  await page.getByText('20 waiting').waitFor();
  await second.getByText('20 waiting').waitFor();
  assert.equal((await added(world)).length, known);
  await page.getByRole('button', { name: 'Sign out and erase' }).click();
  await page.getByText('20 records are only on this phone').waitFor();
  await page.getByRole('button', { name: 'Back' }).click();
  // Both tabs come back on line at once.
  await context.setOffline(false);
  await allSent(page);
  await allSent(second);
  assert.equal((await added(world)).length, known + 20);
  await page.reload();
  await signOut(page);
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  await page.reload();
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  await context.close();
}

/**
 * Waits until a worker has taken over and keeps this version alone. A condition that is a promise would be true at once in the
 * page, so it is asked here. @param {any} page @param {string} version
 */
async function isKept(page, version) {
  const kept = () =>
    page.evaluate(async () => `${navigator.serviceWorker.controller?.state} ${(await caches.keys()).filter((name) => name !== 'files').join()}`);
  for (const end = Date.now() + 20_000; (await kept()) !== `activated ${version}`; ) {
    assert.ok(Date.now() < end, `the phone keeps: ${await kept()}`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

/** @param {World} world */
export async function aNewVersion(world) {
  let version = 'old';
  const way = await between(world.base, (path, text) => {
    if (path === '/sw.js') return text.replace(/const VERSION = '[^']*'/, `const VERSION = '${version}'`);
    return path === '/phone.css' ? `:root { --version: ${version}; }${text}` : text;
  });
  const context = await phone(world, 'version');
  const page = await enrol(world, context, way.base);
  const known = (await added(world)).length;
  // What the worker gives the page.
  const shown = () => page.evaluate(async () => /--version: (\w+)/.exec(await (await fetch('/phone.css')).text())?.[1]);
  // The first worker is at work, or there is nothing to take over from.
  await isKept(page, 'old');
  assert.equal(await shown(), 'old');
  await page.route('**/api/v1/applications/*', (/** @type {any} */ route) => route.abort());
  for (let done = 0; done < 3; done += 1) await recordStop(page, openStops(page).first());
  await page.getByText('3 waiting').waitFor();
  version = 'new';
  await page.evaluate(async () => (await navigator.serviceWorker.getRegistration())?.update());
  // The new worker takes everything new at once, and the old shelf of pages goes.
  await isKept(page, 'new');
  await page.reload();
  await page.getByText('3 waiting').waitFor();
  assert.equal(await shown(), 'new');
  assert.equal((await added(world)).length, known);
  await page.unroute('**/api/v1/applications/*');
  await page.reload();
  await allSent(page);
  assert.equal((await added(world)).length, known + 3);
  await context.close();
  way.stop();
}

/** @param {World} world */
export async function aClockADayOff(world) {
  const { now } = await world.book.office('GET', '/api/v1/me', undefined, 200);
  const context = await phone(world, 'clock');
  await setClock(context, Date.parse(now) + 26 * 3_600_000);
  const page = await enrol(world, context);
  await page.getByText("clock is 26 hours off").waitFor();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  const known = new Set(await added(world));
  await recordStop(page, openStops(page).first());
  await allSent(page);
  const fresh = (await added(world)).filter((id) => !known.has(id));
  assert.equal(fresh.length, 1);
  const record = await world.book.owner('GET', `/api/v1/applications/${fresh[0]}`, undefined, 200);
  assert.equal(record.applied_on, '2026-09-15');
  assert.equal(record.late, false);
  await context.close();
}

/** What the day says of the weather and of too much, read without a network. @param {World} world */
export async function theForecastIsKept(world) {
  // 1.5 lb N per 1,000 sq ft is more than one application may put down in Maryland: 0.9 lb, COMAR 15.20.10.09 C(2).
  await planVisits(world.book.office, world.technician, 1, '1.5');
  const { now } = await world.book.office('GET', '/api/v1/me', undefined, 200);
  const label = new TextEncoder().encode('%PDF-1.7\n%%EOF\n');
  for (const { id } of (await world.book.office('GET', '/api/v1/products?limit=200', undefined, 200)).items) {
    await world.book.office('POST', `/api/v1/products/${id}/files?kind=label`, label, 201);
  }
  const context = await phone(world, 'forecast', { timezoneId: 'Europe/Paris' });
  await setClock(context, Date.parse(now));
  const page = await enrol(world, context);
  const files = () => page.evaluate(async () => (await (await caches.open('files')).keys()).map((one) => one.url));
  for (const end = Date.now() + 20_000; (await files()).length === 0; ) {
    assert.ok(Date.now() < end, 'the label is kept');
    await page.waitForTimeout(100);
  }
  await context.setOffline(true);
  await page.reload();
  await page.getByText('The server does not answer').waitFor();
  // By the clock of the lawn, wherever the phone thinks it is: the sample is too hot for quick-release nitrogen from 13:00 on.
  await page.locator('.stop-button', { hasText: 'Too hot 1–5 PM' }).first().waitFor();
  await arrive(page, openStops(page).first());
  await page.getByRole('heading', { name: 'How your spreader was calibrated' }).waitFor();
  // The label is read where the work is, with or without a network.
  await page.locator('li', { has: page.getByRole('link', { name: 'Label' }) }).getByText('on this phone').waitFor();
  const read = await page.getByRole('link', { name: 'Label' }).evaluate(async (link) => {
    const answer = await fetch(/** @type {HTMLAnchorElement} */ (link).href);
    return [answer.status, answer.headers.get('content-type'), (await answer.text()).slice(0, 8)];
  });
  assert.deepEqual(read, [200, 'application/pdf', '%PDF-1.7']);
  const shown = await page.locator('section', { has: page.getByRole('heading', { name: 'Weather' }) }).last().textContent();
  for (const words of [/■ 1:00 PM to 2:00 PM: stop\. The air is at 86 °F/, /Rain in 24 hours from 9:\d\d AM: 0 in likely, 0 in at most, chance 5 %/, /Rain in 48 hours .*0\.472 in likely, 0\.473 in at most/, /Wind 8\.08 mph, gusts 12\.43/, /No alerts, looked up at 9:\d\d AM/, /A sample, made up for this demonstration/, /Forecast fetched at 9:\d\d AM, \d+ minutes? ago, made at 8:\d\d AM/]) {
    assert.match(shown ?? '', words);
  }
  // The phone's own way back leads to the list.
  await page.goBack();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  const tooMuch = page.locator('.stop-button', { hasText: '■ stop' }).last();
  await tooMuch.click();
  await page.getByRole('button', { name: 'I am at this address' }).click();
  await page.getByText(/Planned were [\d.]+ lb: more than may go down/).waitFor();
  const planned = Number(/Planned were ([\d.]+) lb/.exec((await page.locator('.amounts').first().textContent()) ?? '')?.[1]);
  const large = Number.parseFloat((await page.locator('.figure strong').first().textContent()) ?? '');
  // What may go is in large print, rounded down to what a scale shows, and never what was planned.
  const most = Number(/At most ([\d.]+) lb of this product/.exec((await page.locator('details .amounts').first().textContent()) ?? '')?.[1]);
  assert.ok(large <= most && large > most - 0.1 && most < planned, `${large} lb in large print, at most ${most}, ${planned} planned`);
  await page.getByRole('button', { name: 'Back to the day' }).click();
  // Signed out without a network: nothing is on the phone, and the server hears of it later.
  await signOut(page);
  await page.getByText('does not know yet that you signed out').waitFor();
  await context.setOffline(false);
  await page.reload();
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  assert.equal((await context.request.get(`${world.base}/api/v1/me`)).status(), 401, 'the session is over');
  assert.equal(await page.locator('.stop-button').count(), 0);
  assert.deepEqual(await files(), [], 'labels are off the phone too');
  await context.close();
}
