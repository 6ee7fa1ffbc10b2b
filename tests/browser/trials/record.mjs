// @ts-check
// What belongs on a record beside its amounts: asked where the law wants it, told by whoever wants to, and mended where it was
// refused.

import assert from 'node:assert/strict';

import { added, allSent, arrive, enrol, firstAmount, largeTargets, listen, notWide, openStops, phone, recordStop, sound, start, treatAll } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/**
 * A stop of its own under some law, with one section of 5,000 sq ft. Answers its ids.
 * @param {World} world @param {string} ruleSet @param {{ person?: string, parts?: string[] }} [more]
 */
export async function stopUnder(world, ruleSet, { person = world.technician, parts = [] } = {}) {
  const { office } = world.book;
  const products = (await office('GET', '/api/v1/products', undefined, 200)).items;
  const product = products.find((/** @type {any} */ one) => one.name.startsWith('Feed 24'));
  const client = (await office('GET', '/api/v1/clients?limit=1', undefined, 200)).items[0];
  const site = { client_id: client.id, name: 'Another site', address: '900 Elm Street', postal_code: '21401', time_zone: 'America/New_York', rule_sets: [ruleSet], local_rules_checked_on: '2026-01-05' };
  const property = await office('POST', '/api/v1/properties', site, 201);
  const section = await office('POST', '/api/v1/sections', { property_id: property.id, name: 'front lawn', species: 'tall_fescue', water: 'none', touches_pavement: true }, 201);
  await office('POST', `/api/v1/sections/${section.id}/measurements`, { measured_on: '2026-09-01', method: 'tape', measured_by: 'Tech 01', area_sqft: '5000' }, 201);
  if (parts.length > 0) await office('POST', `/api/v1/sections/${section.id}/divisions`, { since: '2026-09-01', parts: parts.map((name) => ({ name, area_sqft: '2500' })) }, 201);
  // Virginia lets nobody work for hire without its certificate.
  if (ruleSet === 'us-va') await office('POST', `/api/v1/people/${person}/credentials`, { name: 'Certified fertilizer applicator', number: 'SAMPLE-0004', issued_by: 'An invented authority', rule_set: 'us-va', code: 'us-va-certified', valid_from: '2026-01-01' }, 201);
  const visit = await office('POST', '/api/v1/visits', { property_id: property.id, person_id: person, planned_on: '2026-09-15', product_id: product.id, section_ids: [section.id], purpose: 'maintenance', target_nitrogen_lb_per_1000_sqft: '0.4' }, 201);
  return { visit: visit.id, section: section.id };
}

/** A stop by its visit. @param {any} page @param {string} visit */
export const stopOf = (page, visit) => page.locator(`[data-key="${visit}"]`);

/** From the list to what is asked after the work, with the amounts and the pavement said. @param {any} page @param {any} stop */
async function work(page, stop) {
  await arrive(page, stop);
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await treatAll(page);
  await page.getByRole('button', { name: 'Yes' }).click();
}

/** The list is back, and everything is sent: the record that came in since. @param {World} world @param {any} page @param {Set<string>} known */
async function sentRecord(world, page, known) {
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  const [id] = (await added(world)).filter((one) => !known.has(one));
  return world.book.owner('GET', `/api/v1/applications/${id}`, undefined, 200);
}

/** What the office's list says that a record lacks. @param {World} world @param {string} id */
async function gapsOf(world, id) {
  const { items } = await world.book.office('GET', '/api/v1/gaps?limit=200', undefined, 200);
  const record = items.find((/** @type {any} */ one) => one.application_id === id);
  return (record?.gaps ?? []).map((/** @type {any} */ gap) => gap.field);
}

/** Virginia wants the weather at the start (2VAC5-405-100 A); Maryland does not (COMAR 15.20.10.13 B). @param {World} world */
export async function theLawAsks(world) {
  const [first, second] = [await stopUnder(world, 'us-va'), await stopUnder(world, 'us-va')];
  const context = await phone(world, 'asks');
  const page = await enrol(world, context);
  const save = page.getByRole('button', { name: 'Save' });
  let known = new Set(await added(world));
  await work(page, stopOf(page, first.visit));
  const group = page.locator('.record');
  await group.getByText('The law wants the weather at the start here (2VAC5-405-100').waitFor();
  assert.equal(await group.locator('[aria-pressed=true]').count(), 0, 'what was seen is asked, never filled in');
  assert.equal(await group.locator('input').inputValue(), '');
  await save.click();
  await page.getByText('How was the weather at the start?').waitFor();
  await group.getByRole('button', { name: 'Overcast' }).click();
  await save.click();
  const seen = await sentRecord(world, page, known);
  assert.deepEqual(seen.seen, { sky: 'overcast' }, 'one answer will do, and nothing is sent that was not said');
  assert.ok(!(await gapsOf(world, seen.id)).includes('weather_at_start'));
  // Whoever cannot tell says so, and reads that the record lacks it.
  known = new Set(await added(world));
  await work(page, stopOf(page, second.visit));
  await group.getByRole('button', { name: 'Not known' }).first().click();
  await save.click();
  await page.getByText('How was the weather at the start?').waitFor();
  await group.getByRole('button', { name: 'Not known' }).last().click();
  await page.getByText('The record will lack the weather at the start').waitFor();
  await save.click();
  const unseen = await sentRecord(world, page, known);
  assert.equal(unseen.seen ?? null, null);
  assert.ok((await gapsOf(world, unseen.id)).includes('weather_at_start'));
  await noLawAsks(world, page);
  await context.close();
}

/** Where no law asks, nothing stands open beside the amounts, and the common path is as short as it was. @param {World} world @param {any} page */
async function noLawAsks(world, page) {
  const { visit } = await stopUnder(world, 'us-md');
  await page.getByRole('button', { name: 'Download the day again' }).click();
  const stop = stopOf(page, visit);
  await stop.waitFor();
  await arrive(page, stop);
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  assert.equal(await page.locator('.record').count(), 0);
  assert.equal(await page.locator('details[open]').count(), 0, 'what no law wants is folded');
  assert.equal(await page.locator('.stop fieldset:visible').count(), 2, 'one question for the section, one for the pavement');
  await treatAll(page);
  assert.equal(await page.locator('.ground input').count(), 1, 'one number for the section');
  await page.getByRole('button', { name: 'Yes' }).click();
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
}

/** Kentucky wants the special label instruction (302 KAR 26:080 s.1(3), as the rule file cites it). @param {World} world */
export async function theLabelsInstruction(world) {
  const { visit } = await stopUnder(world, 'us-ky');
  const context = await phone(world, 'instruction');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  const save = page.getByRole('button', { name: 'Save' });
  await work(page, stopOf(page, visit));
  const group = page.locator('.record');
  await save.click();
  await page.getByText('Was there a special instruction on the label?').waitFor();
  await group.getByRole('button', { name: 'Kept', exact: true }).click();
  await save.click();
  await page.getByText('What does the instruction of the label say?').waitFor();
  await page.getByLabel('The instruction, as the label has it').fill('Keep children and pets off until dry.');
  await save.click();
  await page.getByText('Was the client told of the instruction?').waitFor();
  await group.getByRole('button', { name: 'Told', exact: true }).click();
  await save.click();
  const record = await sentRecord(world, page, known);
  assert.deepEqual(record.seen.label_instructions, [{ words: 'Keep children and pets off until dry.', kept: true, passed_on: true }]);
  assert.ok(!(await gapsOf(world, record.id)).includes('special_label_instruction'));
  await noneOnTheLabel(world, page);
  await context.close();
}

/** Somebody looked, and there is none: that answers what the law asks. @param {World} world @param {any} page */
async function noneOnTheLabel(world, page) {
  const { visit } = await stopUnder(world, 'us-ky');
  await page.getByRole('button', { name: 'Download the day again' }).click();
  const stop = stopOf(page, visit);
  await stop.waitFor();
  const known = new Set(await added(world));
  await work(page, stop);
  await page.locator('.record').getByRole('button', { name: 'None on the label' }).click();
  await page.getByRole('button', { name: 'Save' }).click();
  const record = await sentRecord(world, page, known);
  assert.deepEqual(record.seen, { no_label_instruction: true });
  assert.ok(!(await gapsOf(world, record.id)).includes('special_label_instruction'));
}

/** Whoever wants to tell more can; nothing of it is sent that was not said, and a button pressed twice says nothing. @param {World} world */
export async function moreIsTold(world) {
  const { visit } = await stopUnder(world, 'us-md');
  const context = await phone(world, 'more');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  await work(page, stopOf(page, visit));
  await page.getByText('More for the record (optional)').click();
  const press = (/** @type {string} */ name, /** @type {string} */ question) => page.getByRole('group', { name: question }).getByRole('button', { name, exact: true }).click();
  await press('Bags counted', 'How the amount was measured');
  await press('✓ Bags counted', 'How the amount was measured');
  await press('Weighed', 'How the amount was measured');
  await page.getByLabel('Distance kept from water').fill('15');
  await page.getByLabel('Distance kept from drains').fill('nine');
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByText('A distance must be a number of feet').waitFor();
  await page.getByLabel('Distance kept from drains').fill('10');
  await press('Partly cloudy', 'The sky at the start');
  await press('Northwest', 'The wind at the start came from');
  await page.getByLabel('Wind speed').fill('6.5');
  await press('Sign', 'Notice given');
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByText('For whom was the notice (sign)?').waitFor();
  await press('Whoever comes by', 'Sign, for');
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByText('At what time was the notice given (sign)?').waitFor();
  const given = page.getByLabel('Sign: given at');
  assert.equal(await given.inputValue(), '', 'when it was given is asked, never filled in');
  const began = await page.evaluate(() => import('/modules/time.js').then((time) => time.localTime(time.serverNow() - 3_600_000, 'America/New_York')));
  await given.fill(began.slice(11));
  await press('Rain', 'Watered in by');
  await page.getByLabel('Watered in at').fill('00:00');
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByText('The watering in lies before the start').waitFor();
  await press('✓ Rain', 'Watered in by');
  await press('Office 01', 'Who else was there');
  await page.getByRole('button', { name: 'Save' }).click();
  const { seen, weather, present_ids: present, started_at: start } = await sentRecord(world, page, known);
  const [notice] = seen.notices;
  assert.deepEqual(seen, { amount_measured_by: 'weighed', kept_from_water_ft: '15', kept_from_drains_ft: '10', wind_from: 'northwest', sky: 'partly_cloudy', notices: [{ kind: 'sign', at: notice.at, to: 'public' }] });
  // The company's clock is four hours behind universal time on that day.
  assert.equal(Date.parse(notice.at), Date.parse(`${began}:00-04:00`), 'it was given an hour ago, as it was said');
  assert.ok(Date.parse(notice.at) < Date.parse(start));
  assert.equal(weather.wind.wind_mph, '6.5');
  const { items } = await world.book.office('GET', '/api/v1/people', undefined, 200);
  assert.deepEqual(present, items.filter((/** @type {any} */ one) => one.name === 'Office 01').map((/** @type {any} */ one) => one.id));
  await context.close();
}

/** A phone of somebody else than the first technician. @param {World} world @param {any} context @param {string} person */
async function enrolPerson(world, context, person) {
  const { code } = await world.book.office('POST', `/api/v1/people/${person}/enrolment-codes`, {}, 201);
  const page = listen(world, await context.newPage());
  await page.goto(`${world.base}/phone#${code}`);
  await page.getByRole('button', { name: 'Connect' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  return page;
}

/** Somebody with a certificate of Maryland; without a code nobody has said which one it is. @param {World} world @param {string} name @param {string} [code] */
async function certified(world, name, code) {
  const { id } = await world.book.owner('POST', '/api/v1/people', { name, role: 'technician' }, 201);
  const held = { name: 'Certificate', number: 'SAMPLE-0003', issued_by: 'An invented authority', rule_set: 'us-md', valid_from: '2026-01-01', ...(code ? { code } : {}) };
  await world.book.office('POST', `/api/v1/people/${id}/credentials`, held, 201);
  return id;
}

/** Somebody who was trained as Maryland asks, and holds no certificate (COMAR 15.20.10.02-.03). @param {World} world */
const trainee = (world) => certified(world, 'Tech 03', 'us-md-trained');

/** @param {World} world */
export async function aSupervisorIsAsked(world) {
  const person = await trainee(world);
  await certified(world, 'Tech 04');
  const stops = [];
  for (let number = 0; number < 3; number += 1) stops.push(await stopUnder(world, 'us-md', { person }));
  const [first, second, third] = stops;
  const context = await phone(world, 'supervised');
  const page = await enrolPerson(world, context, person);
  let known = new Set(await added(world));
  await arrive(page, stopOf(page, first.visit));
  await page.getByRole('button', { name: 'Moist' }).click();
  await page.getByRole('button', { name: 'Rotary spreader with deflector' }).click();
  const begin = page.getByRole('button', { name: 'Start', exact: true });
  const who = page.getByRole('group', { name: 'Who supervises this work?' });
  await page.getByText('and who supervises').waitFor();
  assert.equal(await begin.isDisabled(), true, 'who supervises is asked before the start');
  // Once all is said, the questions are a line that can be changed.
  const change = () => page.getByRole('button', { name: 'Change' }).click();
  const offered = ['Tech 01', 'Tech 04', 'Nobody', 'Somebody else, or not known'];
  assert.deepEqual(await who.getByRole('button').allTextContents(), offered, 'who holds the certificate, or one of which nobody said which it is');
  // Without a name the finding stands; nobody is a stop; with a name the server answers anew, before the start.
  // The day's open points say it too, above the answer.
  const needs = page.locator('details li', { hasText: 'Whoever does this needs a supervisor' });
  await who.getByRole('button', { name: 'Somebody else' }).click();
  await page.getByText("Answered by the office's server").waitFor();
  assert.equal(await needs.count(), 1);
  assert.equal(await begin.isDisabled(), false);
  await change();
  await who.getByRole('button', { name: 'Nobody' }).click();
  // The section says what binds it, and is no finding.
  const told = (/** @type {string} */ hasText) => page.locator('li', { hasText, hasNotText: ', measured ' });
  const nobody = told('Nobody is named who supervised the work');
  await nobody.waitFor();
  await page.getByRole('button', { name: AGAINST }).waitFor();
  await change();
  await who.getByRole('button', { name: 'Tech 04' }).click();
  await told("The supervisor's certificate is valid on the day, but").waitFor({ state: 'attached' });
  await begin.waitFor();
  await change();
  await who.getByRole('button', { name: 'Tech 01' }).click();
  await page.getByText(', under Tech 01.').waitFor();
  await told("The supervisor's certificate").waitFor({ state: 'detached' });
  // Until the answer to the name is there, the one that was downloaded stands, which knows of nobody.
  await needs.waitFor({ state: 'detached' });
  await nobody.waitFor({ state: 'detached' });
  await begin.click();
  await page.getByRole('button', { name: 'Finish' }).click();
  await treatAll(page);
  await page.getByRole('button', { name: 'Yes' }).click();
  await page.getByRole('button', { name: 'Save' }).click();
  const supervised = await sentRecord(world, page, known);
  assert.equal(supervised.supervisor_id, world.technician);
  assert.ok(!(await gapsOf(world, supervised.id)).includes(null), 'the supervisor stands for the certificate');
  // Who is not known is no name, and nobody is not said either.
  known = new Set(await added(world));
  await arrive(page, stopOf(page, second.visit));
  await page.getByRole('button', { name: 'Moist' }).click();
  await who.getByRole('button', { name: 'Somebody else' }).click();
  await begin.click();
  await finished(page);
  await page.getByRole('button', { name: 'Save' }).click();
  const alone = await sentRecord(world, page, known);
  assert.equal(alone.supervisor_id ?? null, null);
  assert.ok(!JSON.stringify(alone).includes('Nobody is named'), 'nobody said that there was none');
  // Nobody is against the rule, and so it is refused until it is sent as such.
  await arrive(page, stopOf(page, third.visit));
  await page.getByRole('button', { name: 'Moist' }).click();
  await who.getByRole('button', { name: 'Nobody' }).click();
  const against = page.getByRole('button', { name: AGAINST });
  await against.waitFor();
  // A tap that was meant for the button before is not taken.
  await page.waitForTimeout(800);
  await against.click();
  await finished(page, '8.3');
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('button', { name: '1 record was refused' }).click();
  await page.locator('.finding', { hasText: 'Nobody is named who supervised the work' }).waitFor();
  await context.close();
}

/** What the button says where a rule stops the work. */
const AGAINST = 'Start against the rule (the owner will see it)';

/** From the work to Save. @param {any} page @param {string} [amount] where nothing is planned, as of what a rule stops */
async function finished(page, amount) {
  await page.getByRole('button', { name: 'Finish' }).click();
  await treatAll(page, amount);
  await page.getByRole('button', { name: 'Yes' }).click();
}

/** @param {World} world */
export async function timesAreMended(world) {
  const context = await phone(world, 'times');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  await recordStop(page, openStops(page).first(), '260');
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('button', { name: '1 record was refused' }).click();
  const [began, ended] = [page.getByLabel('Started'), page.getByLabel('Finished')];
  const [from, to] = [await began.inputValue(), await ended.inputValue()];
  assert.match(from, /^2026-09-15T\d\d:\d\d$/);
  const earlier = (/** @type {string} */ local, /** @type {number} */ minutes) => new Date(Date.parse(`${local}Z`) - minutes * 60_000).toISOString().slice(0, 16);
  for (const box of await page.locator('.finding input').all()) await box.check();
  await page.locator('textarea').fill('The gate of the hopper stuck.');
  await ended.fill(earlier(to, 30));
  const send = page.getByRole('button', { name: 'Send, against the rule' });
  await send.click();
  await page.getByText('The work was finished before it was started').waitFor();
  await began.fill(earlier(from, 45));
  await send.click();
  const record = await sentRecord(world, page, known);
  // The company's clock is four hours behind universal time on that day.
  const moment = (/** @type {string} */ local) => Date.parse(`${local}:00-04:00`);
  assert.equal(Date.parse(record.started_at), moment(earlier(from, 45)));
  assert.equal(Date.parse(record.finished_at), moment(earlier(to, 30)));
  // What was corrected by hand says nothing of the phone's clock.
  assert.ok(!JSON.stringify(record).includes("The phone's clock was moved"), JSON.stringify(record));
  assert.deepEqual([record.phone_started_at ?? null, record.phone_finished_at ?? null], [null, null]);
  await context.close();
}

/** Everything that is asked, in its states: large targets, a contrast of 7:1, and narrow and in large print. @param {World} world */
export async function theQuestionsAreSound(world) {
  const person = await trainee(world);
  for (const colorScheme of ['light', 'dark']) {
    const supervised = await stopUnder(world, 'us-md', { person });
    const asked = await stopUnder(world, 'us-va', { person, parts: ['front half', 'east of the drive'] });
    const context = await phone(world, `questions-${colorScheme}`, { colorScheme, bypassCSP: true });
    const page = await enrolPerson(world, context, person);
    const look = async (/** @type {string} */ what) => {
      await sound(world, page, `${what}, ${colorScheme}`, true);
      await largeTargets(page, what);
      await narrow(page, what);
    };
    await arrive(page, stopOf(page, supervised.visit));
    await page.getByRole('button', { name: 'Nobody' }).click();
    await look('who supervises');
    await page.getByRole('button', { name: 'Back to the day' }).click();
    await arrive(page, stopOf(page, asked.visit));
    await page.getByRole('button', { name: 'Moist' }).click();
    await page.getByRole('button', { name: 'Rotary spreader with deflector' }).click();
    await page.getByRole('button', { name: 'Start', exact: true }).click();
    await page.getByRole('button', { name: 'Finish' }).click();
    await page.getByRole('button', { name: 'Part of it' }).click();
    await page.getByRole('button', { name: 'east of the drive' }).click();
    await look('parts of a lawn');
    for (const at of [0, 1]) await page.locator('.record').getByRole('button', { name: 'Not known' }).nth(at).click();
    await look('what the law asks');
    await page.getByText('More for the record (optional)').click();
    await page.getByRole('button', { name: 'Rain', exact: true }).last().click();
    await page.getByRole('button', { name: 'Door card' }).click();
    await page.getByRole('button', { name: 'Not kept' }).click();
    await look('more for the record');
    await firstAmount(page).fill('260');
    await page.getByRole('button', { name: 'Another part' }).click();
    await look('another part');
    await context.close();
  }
}

/** At 320 px, and there in large print, nothing scrolls sideways. @param {any} page @param {string} what */
async function narrow(page, what) {
  const before = page.viewportSize();
  await page.setViewportSize({ width: 320, height: 640 });
  await notWide(page, `${what} at 320 px`);
  await page.evaluate(() => void (document.documentElement.style.fontSize = '200%'));
  await notWide(page, `${what} at 320 px and 200 %`);
  await page.evaluate(() => void (document.documentElement.style.fontSize = ''));
  await page.setViewportSize(before);
}
