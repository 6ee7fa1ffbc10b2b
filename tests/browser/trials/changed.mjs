// @ts-check
// What the office changes while the phone is out: a stop that is not to be made any more is said to be so, where it is seen.

import assert from 'node:assert/strict';

import { planVisits } from '../book.mjs';
import { added, allSent, arrive, enrol, fillStop, firstAmount, openStops, phone, see } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** The office changes a visit. @param {World} world @param {string} id @param {any} change */
export async function change(world, id, change) {
  const { office } = world.book;
  const { property_id, person_id, planned_on, product_id, section_ids, purpose, target_nitrogen_lb_per_1000_sqft, status, reason, version } = await office('GET', `/api/v1/visits/${id}`, undefined, 200);
  return office('PUT', `/api/v1/visits/${id}`, { property_id, person_id, planned_on, product_id, section_ids, purpose, target_nitrogen_lb_per_1000_sqft, status, reason, ...change }, 200, { 'if-match': `"v${version}"` });
}

/** The page comes back into sight. @param {any} page */
export const comeBack = (page) => page.evaluate(() => document.dispatchEvent(new Event('visibilitychange')));

/** @param {World} world */
export async function theOfficeChangesItsMind(world) {
  await planVisits(world.book.office, world.technician, 4);
  const other = await world.book.owner('POST', '/api/v1/people', { name: 'Tech 03', role: 'technician' }, 201);
  const context = await phone(world, 'changed');
  // What is asked every few minutes is asked every second here.
  await context.addInitScript(() => {
    const real = setInterval;
    globalThis.setInterval = /** @type {any} */ ((/** @type {() => void} */ work, /** @type {number} */ wait) => real(work, wait > 60_000 ? 1000 : wait));
  });
  const page = await enrol(world, context);
  const keys = [];
  for (const stop of (await openStops(page).all()).slice(-4)) keys.push(await stop.getAttribute('data-key'));
  const [cancelled, given, moved, closed] = keys.map((key) => ({ id: /** @type {string} */ (key), stop: page.locator(`[data-key="${key}"]`) }));
  // On the list: while it shows, when it comes back, and when the signal does.
  await change(world, moved.id, { planned_on: '2026-09-16' });
  await moved.stop.getByText('■ It is planned for Wednesday, September 16 now').waitFor();
  // On an open stop, before Start.
  await arrive(page, given.stop);
  await see(page);
  await change(world, given.id, { person_id: other.id });
  await comeBack(page);
  await page.getByText('■ It was given to somebody else. Do not start.').waitFor();
  assert.equal(await page.getByRole('button', { name: 'Start', exact: true }).count(), 0);
  await page.goBack();
  await given.stop.getByText('■ It was given to somebody else').waitFor();
  await workGoesOn(world, page, context, cancelled);
  await change(world, closed.id, { status: 'not_done', reason: 'Gate locked' });
  await closed.stop.getByText('■ The office closed it as not done: Gate locked.').waitFor();
  await page.reload();
  await closed.stop.getByText('Gate locked').waitFor();
  // Planned again, it is a stop like others.
  await change(world, closed.id, { status: 'planned', reason: null });
  await closed.stop.filter({ hasNotText: 'Gate locked' }).waitFor();
  await context.close();
}

/** Called off in the middle of the work, with somebody typing. @param {World} world @param {any} page @param {any} context @param {{ id: string, stop: any }} stop */
async function workGoesOn(world, page, context, { id, stop }) {
  const known = (await added(world)).length;
  await context.setOffline(true);
  await fillStop(page, stop);
  await firstAmount(page).focus();
  await page.keyboard.type('1');
  const typed = await firstAmount(page).inputValue();
  await change(world, id, { status: 'cancelled', reason: 'The client called' });
  await context.setOffline(false);
  await page.getByText('■ It was cancelled: The client called. Stop here and ask the office. What you have put down may still be recorded').waitFor();
  assert.equal(await firstAmount(page).inputValue(), typed, 'nobody who types is disturbed');
  assert.ok(await page.evaluate(() => document.activeElement?.id.startsWith('used-')), 'the focus stays');
  await page.goBack();
  await stop.filter({ hasText: '■ It was cancelled: The client called' }).filter({ hasText: 'begun at' }).click();
  await page.getByText('may still be recorded').waitFor();
  await firstAmount(page).fill(typed.slice(0, -1));
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  assert.equal((await added(world)).length, known + 1);
}
