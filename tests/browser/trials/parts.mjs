// @ts-check
// A lawn of which a part was treated is recorded as that part, and the stop stays open for the rest.

import assert from 'node:assert/strict';

import { stopOf, stopUnder } from './record.mjs';
import { added, allSent, arrive, enrol, enrolAgain, firstAmount, phone, start, treatAll, usualAmount } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** A visit with two sections of its own, so that nothing else lies on them. @param {World} world */
async function twoSections(world) {
  const { office } = world.book;
  const product = (await office('GET', '/api/v1/products', undefined, 200)).items.find((/** @type {any} */ one) => one.name.startsWith('Feed 24'));
  const { items } = await office('GET', '/api/v1/sections?limit=1', undefined, 200);
  const { property_id, species } = items[0];
  const sections = [];
  for (const name of ['north lawn', 'south lawn']) {
    const section = await office('POST', '/api/v1/sections', { property_id, name, species, water: 'none', touches_pavement: true }, 201);
    await office('POST', `/api/v1/sections/${section.id}/measurements`, { measured_on: '2026-09-01', method: 'tape', measured_by: 'Tech 01', area_sqft: '5000' }, 201);
    sections.push(section.id);
  }
  const visit = await office('POST', '/api/v1/visits', { property_id, person_id: world.technician, planned_on: '2026-09-15', product_id: product.id, section_ids: sections, purpose: 'maintenance', target_nitrogen_lb_per_1000_sqft: '0.4' }, 201);
  return { visit: visit.id, sections };
}

/** @param {World} world */
export async function aPartIsAPart(world) {
  const { visit } = await twoSections(world);
  const context = await phone(world, 'part');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  const stop = page.locator(`[data-key="${visit}"]`);
  await arrive(page, stop);
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  const save = page.getByRole('button', { name: 'Save' });
  await save.click();
  await page.getByText(/What was treated of the (north|south) lawn: all of it/).waitFor();
  // Half of the first section at twice its rate; the second is left out.
  await page.getByRole('button', { name: 'Part of it' }).first().click();
  await page.keyboard.type('5,001');
  const planned = Number(await usualAmount(page));
  await firstAmount(page).fill(String(planned));
  await page.getByRole('button', { name: 'None' }).last().click();
  await page.getByRole('button', { name: 'Yes' }).click();
  await save.click();
  await page.getByText(/must be more than 0 and less than 5,000 sq ft/).waitFor();
  await page.locator('input[id^="area-"]').fill('2,500');
  await save.click();
  await page.getByText(/on 2,500 sq ft of the .* lawn is not usual/).waitFor();
  await firstAmount(page).fill((planned / 2).toFixed(2));
  await save.click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  const [first] = (await added(world)).filter((id) => !known.has(id));
  const record = await world.book.owner('GET', `/api/v1/applications/${first}`, undefined, 200);
  assert.deepEqual(record.lines.map((/** @type {any} */ line) => Number(line.area_sqft)), [2500]);
  await theRest(world, page, stop, visit, known);
  await context.close();
}

/** What is open is shown, also by a day that is downloaded anew, and a further record takes it. @param {World} world @param {any} page @param {any} stop @param {string} visit @param {Set<string>} known */
async function theRest(world, page, stop, visit, known) {
  const open = /part done\. Open: (2,500 sq ft of the (north|south) lawn, the (north|south) lawn|the (north|south) lawn, 2,500 sq ft of the (north|south) lawn)/;
  await stop.filter({ hasText: open }).waitFor();
  await enrolAgain(world, page, world.technician);
  await stop.filter({ hasText: open }).waitFor();
  const stood = await ofDay(world, visit);
  assert.equal(stood.recorded, false);
  assert.deepEqual(stood.recorded_sections.map((/** @type {any} */ one) => [Number(one.treated_area_sqft), Number(one.open_area_sqft)]), [[2500, 2500]]);
  await stop.click();
  await page.getByText('Part of this stop is recorded').waitFor();
  await page.getByRole('button', { name: 'I am at this address' }).click();
  await page.getByText('2,500 sq ft still open').first().waitFor();
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await treatAll(page);
  await page.getByRole('button', { name: 'Yes' }).click();
  await page.getByRole('button', { name: 'Save' }).click();
  await stop.filter({ hasText: '✓ recorded' }).waitFor();
  await allSent(page);
  const after = (await added(world)).filter((id) => !known.has(id));
  assert.equal(after.length, 2, 'the rest is a record of its own');
  const whole = await ofDay(world, visit);
  assert.equal(whole.recorded, true);
  assert.deepEqual(whole.recorded_sections.map((/** @type {any} */ one) => [Number(one.treated_area_sqft), one.open_area_sqft]), [[5000, null], [5000, null]]);
  // A day downloaded again knows it, and what is done is not printed large.
  await page.reload();
  await stop.filter({ hasText: '✓ recorded' }).click();
  await page.getByRole('button', { name: 'I am at this address' }).click();
  await page.getByText('north lawn: recorded').waitFor();
  assert.equal(await page.locator('.figure').count(), 0, 'no pounds are printed large for what is done');
}

/** What the server tells of a visit with the day. @param {World} world @param {string} visit */
async function ofDay(world, visit) {
  const day = await world.book.office('GET', `/api/v1/days/2026-09-15?person_id=${world.technician}`, undefined, 200);
  return day.visits.find((/** @type {any} */ one) => one.visit.id === visit);
}

/** Started, and nothing went down: no record, and nothing stays begun. @param {World} world */
export async function nothingTreated(world) {
  const { visit } = await twoSections(world);
  const context = await phone(world, 'nothing');
  const page = await enrol(world, context);
  const known = (await added(world)).length;
  const stop = page.locator(`[data-key="${visit}"]`);
  await arrive(page, stop);
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  for (const at of [0, 1]) await page.getByRole('button', { name: 'None' }).nth(at).click();
  await page.getByRole('button', { name: 'Nothing was treated: delete this start' }).click();
  await page.getByText('nothing was treated, so nothing was recorded').waitFor();
  await stop.filter({ hasNotText: /begun|recorded/ }).waitFor();
  assert.equal((await added(world)).length, known);
  await context.close();
}

/** Parts that the office has named are chosen by name; what is open of them stays on the list, and the rest is just those. @param {World} world */
export async function namedParts(world) {
  const { visit } = await stopUnder(world, 'us-md', { parts: ['front half', 'back half'] });
  const context = await phone(world, 'named');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  const stop = stopOf(page, visit);
  const save = page.getByRole('button', { name: 'Save' });
  await arrive(page, stop);
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await page.getByRole('button', { name: 'Part of it' }).click();
  await page.getByRole('button', { name: 'Yes' }).click();
  assert.equal(await page.locator('input[id^="area-"]').count(), 0, 'the square feet of a named part are known');
  await save.click();
  await page.getByText('Which part of the front lawn was treated?').waitFor();
  const whole = Number(await usualAmount(page));
  // Ground without a name is typed as before, and a name puts it away.
  await page.getByRole('button', { name: 'Another part' }).click();
  await page.locator('input[id^="area-"]').fill('1000');
  await page.getByRole('button', { name: 'front half' }).click();
  assert.equal(await page.locator('input[id^="area-"]').count(), 0);
  await page.locator('.figure', { hasText: '2,500 sq ft' }).waitFor();
  const half = await usualAmount(page);
  assert.ok(Math.abs(Number(half) - whole / 2) < 0.1, `${half} lb are planned for half of ${whole} lb`);
  await firstAmount(page).fill(half);
  await save.click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await stop.filter({ hasText: 'Open: back half, 2,500 sq ft of the front lawn' }).waitFor();
  await allSent(page);
  // A day that is downloaded anew knows it by name, and asks the server about what is left alone.
  const asked = page.waitForRequest((/** @type {any} */ one) => one.url().endsWith('/api/v1/checks') && one.postData().includes('back half'));
  await page.getByRole('button', { name: 'Download the day again' }).click();
  await asked;
  await page.getByRole('button', { name: 'Download the day again' }).waitFor();
  assert.deepEqual((await ofDay(world, visit)).recorded_sections[0].parts, ['front half']);
  await stop.filter({ hasText: 'Open: back half' }).waitFor();
  await arrive(page, stop);
  await page.getByText('back half, 2,500 sq ft still open').first().waitFor();
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await treatAll(page);
  await page.getByRole('button', { name: 'Yes' }).click();
  await save.click();
  await stop.filter({ hasText: '✓ recorded' }).waitFor();
  await allSent(page);
  const fresh = (await added(world)).filter((id) => !known.has(id));
  const records = await Promise.all(fresh.map((id) => world.book.owner('GET', `/api/v1/applications/${id}`, undefined, 200)));
  assert.deepEqual(records.map((one) => one.lines[0].parts).sort(), [['back half'], ['front half']]);
  assert.ok(records.every((one) => Number(one.lines[0].area_sqft) === 2500 && one.verdict !== 'stop'), 'two halves are different ground');
  await context.close();
}

/** The office names the parts anew while somebody works there: what was treated is not open again, and the record is mended. @param {World} world */
export async function partsNamedAnew(world) {
  const { visit, section } = await stopUnder(world, 'us-md', { parts: ['front half', 'back half'] });
  const context = await phone(world, 'anew');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  const stop = stopOf(page, visit);
  await arrive(page, stop);
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await page.getByRole('button', { name: 'Part of it' }).click();
  await page.getByRole('button', { name: 'front half' }).click();
  await firstAmount(page).fill(await usualAmount(page));
  await page.getByRole('button', { name: 'Yes' }).click();
  const parts = ['street side', 'garden side'].map((name) => ({ name, area_sqft: '2500' }));
  await world.book.office('POST', `/api/v1/sections/${section}/divisions`, { since: '2026-09-15', parts }, 201);
  // On its way the watering in is made one that the server refuses too.
  await page.getByText('More for the record (optional)').click();
  await page.getByRole('group', { name: 'Watered in by' }).getByRole('button', { name: 'Rain' }).click();
  const now = await page.evaluate(() => import('/modules/time.js').then((time) => time.localTime(time.serverNow(), 'America/New_York')));
  await page.getByLabel('Watered in at').fill(now.slice(11));
  await page.route('**/api/v1/applications/*', (/** @type {any} */ route) => {
    const sent = route.request().postDataJSON();
    if (!sent.seen) return route.continue();
    return route.continue({ postData: JSON.stringify({ ...sent, seen: { watered_in: { at: '2026-09-14T12:00:00Z', by: 'rain' } } }) });
  });
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('button', { name: '1 record was refused' }).waitFor();
  const day = page.waitForResponse('**/api/v1/days/*');
  await page.getByRole('button', { name: 'Download the day again' }).click();
  await day;
  await page.getByRole('button', { name: 'Download the day again' }).waitFor();
  assert.equal(await stop.filter({ hasText: 'garden side' }).count(), 0, 'ground that may be treated is not offered');
  await mendParts(page);
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  const [id] = (await added(world)).filter((one) => !known.has(one));
  const record = await world.book.owner('GET', `/api/v1/applications/${id}`, undefined, 200);
  assert.deepEqual(record.lines.map((/** @type {any} */ line) => line.parts), [['street side']]);
  assert.equal(record.seen ?? null, null, 'what was refused was left out');
  await context.close();
}

/** Says how the part is called now, and leaves the watering in out, in whichever turn the server refuses them. @param {any} page */
async function mendParts(page) {
  for (let turn = 0; turn < 2; turn += 1) {
    await page.getByRole('button', { name: '1 record was refused' }).click();
    const article = page.locator('article');
    const send = article.getByRole('button', { name: 'Send corrected record' });
    await send.waitFor();
    const [part, water] = [article.getByLabel('street side'), article.getByLabel(/Leave out the watering in/)];
    if ((await part.count()) > 0) {
      await send.click();
      await article.getByText('Say which part was treated, or how many square feet.').waitFor();
      await part.check();
    }
    if ((await water.count()) > 0) await water.check();
    await send.click();
    await page.getByRole('heading', { name: /September 15/ }).waitFor();
    await page.locator('#queue', { hasNotText: '●' }).waitFor();
    if ((await page.getByRole('button', { name: '1 record was refused' }).count()) === 0) return;
  }
}
