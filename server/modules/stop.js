// @ts-check
// One stop: am I at the right place, how much, may I; then start, finish, and what was really used. What only a person can
// know is asked and never filled in beforehand.

import { amount, answerOf, cautions, howMuch, openPoints, settings, source, verdict } from './answer.js';
import { call } from './api.js';
import { now, plan } from './day.js';
import { clock, h, pounds, replace } from './dom.js';
import { toRead } from './files.js';
import { save as saveRecord } from './queue.js';
import { forecast } from './weather.js';
import { begin, keepWork, workOn } from './work.js';

/** @typedef {import('./work.js').Work} Work */
/** @typedef {import('./work.js').Asked} Asked */
/** @typedef {{ stop: any, downloaded: any, day: import('./day.js').Day, known: string, work: Work, redraw: () => void, keep: () => void, back: (words?: string) => void }} Visit */

const GROUND = { dry: 'Dry', moist: 'Moist', saturated: 'Saturated', frozen: 'Frozen', snow_covered: 'Snow' };
const EQUIPMENT = {
  rotary_spreader: 'Rotary spreader',
  rotary_spreader_with_deflector: 'Rotary spreader with deflector',
  drop_spreader: 'Drop spreader',
};
/** Ground on which most rule sets let nothing down. */
const BARRED = new Set(['saturated', 'frozen', 'snow_covered']);
/** Used amounts outside this share of the expected one are asked about again: 260 for 26.0. */
const USUAL = { least: 0.5, most: 1.5 };

/**
 * @param {any} stop a visit of the downloaded day
 * @param {import('./day.js').Decision | null} decision
 * @param {import('./day.js').Day} day
 * @param {string} known what is known of a record of it already; nothing when there is none
 * @param {(words?: string) => void} back with what there is to say on the list
 * @returns {Promise<HTMLElement>}
 */
export async function stopPage(stop, decision, day, known, back) {
  const page = h('section', { class: 'stop' });
  const work = await workOn(day.me.person.id, stop.visit.id);
  // A phone without room goes on from memory; the record itself is never taken for kept when it is not.
  const keep = () => void keepWork(visit.work).catch(() => undefined);
  const redraw = () => {
    replace(page, parts(visit));
    keep();
  };
  /** @type {Visit} */
  const visit = { stop, downloaded: decision, day, known, work, redraw, keep, back };
  page.append(...parts(visit));
  return page;
}

/** The server's answer to just this ground and equipment, if it gave one. @param {Visit} visit @returns {Asked | null} */
const asked = ({ work }) => (work.asked && work.asked.ground === work.ground && work.asked.equipment === work.equipment ? work.asked : null);

/** The best answer there is. @param {Visit} visit */
const answer = (visit) => asked(visit)?.decision ?? visit.downloaded;

/** @param {Visit} visit @returns {Node[]} */
function parts(visit) {
  const { stop, work, back } = visit;
  const head = [
    h('button', { class: 'plain', type: 'button', onclick: () => back(), 'data-key': 'back' }, '‹ Back to the day'),
    h('h1', {}, stop.property.address),
    h('p', {}, `${stop.client_name}${stop.client_phone ? `, ${stop.client_phone}` : ''}. ${stop.sections.map((/** @type {any} */ section) => section.name).join(', ')}.`),
  ];
  const body = !work.here ? arrival(visit) : work.started_at === '' ? before(visit) : work.finished_at === '' ? during(visit) : after(visit);
  return [...head, ...body].filter((node) => node !== null);
}

/** @param {Visit} visit */
function open(visit) {
  const points = openPoints(visit.stop, answer(visit), visit.day);
  return points.length > 0 ? h('ul', { class: 'open' }, ...points.map((words) => h('li', {}, `▲ ${words}`))) : null;
}

/** @param {Visit} visit */
function arrival(visit) {
  const here = () => {
    visit.work.here = true;
    visit.redraw();
  };
  const again = visit.known === '' ? null : h('p', { class: 'verdict care' }, `▲ ${visit.known} Go on only with ground that was not treated then.`);
  return [again, open(visit), h('p', { class: 'ask' }, 'Read the number on the house. Is it the one above?'), h('button', { class: 'big', type: 'button', onclick: here }, 'I am at this address')];
}

/** Asks the server again with what was seen here; without a network the downloaded answer stands. @param {Visit} visit */
async function askAgain(visit) {
  const { stop, day, work } = visit;
  const { ground, equipment } = work;
  if (ground === '' || equipment === '' || stop.visit.target_nitrogen_lb_per_1000_sqft === null || asked(visit)) return;
  const reply = await call('POST', '/api/v1/checks', plan(stop, day.day.day, { ground, equipment }));
  if (reply.status !== 200) return;
  work.asked = { decision: reply.body.decision, at: Date.now() + day.skew, ground, equipment };
  if (visit.work.started_at === '') visit.redraw();
}

/** @param {Visit} visit */
function before(visit) {
  const { stop, day, work, redraw } = visit;
  const decision = answer(visit);
  const picked = (/** @type {'ground' | 'equipment'} */ what) => async (/** @type {string} */ word) => {
    work[what] = word;
    redraw();
    await askAgain(visit);
  };
  let starting = false;
  const start = async () => {
    if (work.ground === '' || work.equipment === '' || starting) return;
    starting = true;
    visit.work = await begin({ ...work, stop, decision: visit.downloaded, started_at: now(day) });
    redraw();
  };
  const stopped = decision?.verdict === 'stop';
  const words = stopped ? 'Start all the same; it will be marked' : 'Start';
  return [
    open(visit),
    howMuch(stop, decision, day),
    settings(stop, day),
    forecast(stop, day),
    choice('The ground is', GROUND, work.ground, picked('ground')),
    choice('With', EQUIPMENT, work.equipment, picked('equipment')),
    verdict(decision, source(day, asked(visit))),
    BARRED.has(work.ground) && !asked(visit) ? h('p', { class: 'verdict stop' }, '■ On such ground most rule sets let nothing down, and the answer above did not know it. Ask the office first.') : null,
    toRead(stop, day),
    cautions(),
    stopped ? h('p', { class: 'ask' }, 'Do not start. Ask the office.') : null,
    h('button', { class: stopped ? 'warned' : 'big', type: 'button', onclick: () => void start(), disabled: work.ground === '' || work.equipment === '', 'data-key': 'start' }, words),
    work.ground === '' || work.equipment === '' ? h('p', { class: 'source' }, 'Say first how the ground is, and with what you work.') : null,
  ];
}

/** @param {Visit} visit */
function during(visit) {
  const { stop, day, work, redraw } = visit;
  const finish = () => {
    work.finished_at = now(day);
    redraw();
  };
  return [h('p', {}, `Started at ${clock(work.started_at, day.me.time_zone)}.`), howMuch(stop, answer(visit), day), h('button', { class: 'big', type: 'button', onclick: finish }, 'Finish')];
}

/** @param {Visit} visit */
function after(visit) {
  const { stop, day, work, redraw, keep, back } = visit;
  const decision = answer(visit);
  const fault = h('p', { role: 'alert', class: 'fault' });
  const sure = new Set();
  let saving = false;
  const save = async () => {
    if (saving) return;
    const wrong = missing(stop, decision, work, sure);
    fault.textContent = wrong;
    if (wrong !== '') return;
    saving = true;
    try {
      const first = await saveRecord({ id: work.id, by: work.by, made_at: Date.now(), record: record(stop, work), words: stop.property.address, state: 'waiting', problem: null, tries: 0 });
      back(first ? '' : `${stop.property.address}: this work was saved already. It is one record.`);
    } catch {
      fault.textContent = 'This phone could not keep the record: its memory is full or locked. Write it down, make room, and press Save again.';
      saving = false;
    }
  };
  const amounts = stop.sections.map((/** @type {any} */ section) => {
    const expected = expectedOf(decision, section.id);
    const hint = expected ? `Usual here: ${pounds(expected * USUAL.least)} to ${pounds(expected * USUAL.most)} lb. ` : '';
    return typed(`used-${section.id}`, `Used on the ${section.name}`, 'lb', work.used[section.id] ?? '', `${hint}Leave it empty if nothing went on it.`, (text) => void ((work.used[section.id] = text), keep()));
  });
  return [
    h('p', {}, `From ${clock(work.started_at, day.me.time_zone)} to ${clock(work.finished_at, day.me.time_zone)}, on ${GROUND[/** @type {keyof typeof GROUND} */ (work.ground)].toLowerCase()} ground.`),
    ...amounts,
    choice('Pavement swept or blown back', { yes: 'Yes', no: 'No' }, work.cleaned, (word) => void ((work.cleaned = word), redraw())),
    typed('air', 'Air, if you measured it', '°F', work.air, '', (text) => void ((work.air = text), keep())),
    fault,
    h('button', { class: 'big', type: 'button', onclick: () => void save() }, 'Save'),
  ];
}

/**
 * A number with its unit beside it, for the phone's number pad.
 * @param {string} id @param {string} label @param {string} unit @param {string} value @param {string} hint @param {(text: string) => void} changed
 */
function typed(id, label, unit, value, hint, changed) {
  const oninput = (/** @type {InputEvent} */ event) => changed(/** @type {HTMLInputElement} */ (event.target).value);
  const input = /** @type {HTMLInputElement} */ (h('input', { id, inputmode: 'decimal', autocomplete: 'off', 'data-key': id, 'aria-describedby': `unit-${id}${hint === '' ? '' : ` usual-${id}`}`, oninput }));
  input.value = value;
  return h('div', { class: 'amount' }, h('label', { for: id }, label), input, h('span', { class: 'unit', id: `unit-${id}` }, unit), hint === '' ? null : h('small', { id: `usual-${id}` }, hint));
}

/** @param {any} decision @param {string} section */
const expectedOf = (decision, section) => (answerOf(decision, section) ? amount(answerOf(decision, section)).product : 0);

/** A number as a thumb types it. @param {string} text */
const number = (text) => text.trim().replace(',', '.');

/** What still has to be answered, or is worth a second look. @param {any} stop @param {any} decision @param {Work} work @param {Set<any>} sure */
function missing(stop, decision, work, sure) {
  const filled = stop.sections.filter((/** @type {any} */ section) => (work.used[section.id] ?? '').trim() !== '');
  if (filled.length === 0) return 'How much was used? Type it for each section.';
  for (const section of filled) {
    const text = number(work.used[section.id]);
    if (!/^\d{1,5}(\.\d{1,6})?$/.test(text) || Number(text) === 0) return `The amount on the ${section.name} must be a number of pounds, such as 26.5.`;
    const expected = expectedOf(decision, section.id);
    const odd = expected > 0 && (Number(text) < expected * USUAL.least || Number(text) > expected * USUAL.most);
    if (odd && !sure.has(section.id + text)) {
      sure.add(section.id + text);
      return `${text} lb on the ${section.name} is not usual: ${pounds(expected * USUAL.least)} to ${pounds(expected * USUAL.most)} lb is. If it is right, press Save again.`;
    }
  }
  if (work.cleaned === '') return 'Was the pavement swept or blown back?';
  if (work.air.trim() !== '' && !/^-?\d{1,3}(\.\d)?$/.test(number(work.air))) return 'The temperature must be a number, such as 71.5, or nothing.';
  return '';
}

/** The record as the server takes it. @param {any} stop @param {Work} work */
function record(stop, work) {
  const lines = stop.sections
    .filter((/** @type {any} */ section) => (work.used[section.id] ?? '').trim() !== '')
    .map((/** @type {any} */ section) => ({ section_id: section.id, product_lb: number(work.used[section.id]) }));
  const air = number(work.air);
  const weather = air === '' ? {} : { air_temperature: { air_temperature_f: air, source: 'technician', observed_at: work.started_at } };
  return {
    property_id: stop.property.id, product_id: stop.product.id, visit_id: stop.visit.id, started_at: work.started_at, finished_at: work.finished_at,
    purpose: stop.visit.purpose, equipment: work.equipment, ground: work.ground, pavement_cleaned: work.cleaned === 'yes', weather, lines,
  };
}

/**
 * Buttons of which one is pressed; none is beforehand.
 * @param {string} title @param {Record<string, string>} words @param {string} chosen @param {(word: string) => unknown} choose
 */
function choice(title, words, chosen, choose) {
  const buttons = Object.entries(words).map(([word, label]) => h('button', { type: 'button', class: 'pick', 'aria-pressed': chosen === word ? 'true' : 'false', 'data-key': `${title}/${word}`, onclick: () => void choose(word) }, chosen === word ? `✓ ${label}` : label));
  return h('fieldset', {}, h('legend', {}, title), ...buttons);
}
