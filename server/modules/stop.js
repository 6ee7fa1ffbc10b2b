// @ts-check
// One stop: am I at the right place, how much, may I; then start, finish, and what was really used. What only a person can
// know is asked and never filled in beforehand.

import { newId } from './api.js';
import { now } from './day.js';
import { clock, h, pounds } from './dom.js';
import { send } from './queue.js';
import { download, downloaded } from './shelf.js';

/** @typedef {{ visit: string, here: boolean, ground: string, started_at: string, finished_at: string, air: string, equipment: string, used: Record<string, string>, cleaned: string }} Work */

const GROUND = { dry: 'Dry', moist: 'Moist', saturated: 'Saturated', frozen: 'Frozen', snow_covered: 'Snow' };
const EQUIPMENT = {
  rotary_spreader: 'Rotary spreader',
  rotary_spreader_with_deflector: 'Rotary spreader with deflector',
  drop_spreader: 'Drop spreader',
};
/** Used amounts outside this share of the expected one are asked about again: 260 for 26.0. */
const USUAL = { least: 0.5, most: 1.5 };

/**
 * @param {any} stop a visit of the downloaded day
 * @param {import('./day.js').Decision | null} decision
 * @param {import('./day.js').Day} day
 * @param {() => void} back
 * @returns {Promise<HTMLElement>}
 */
export async function stopPage(stop, decision, day, back) {
  const page = h('section', { class: 'stop' });
  /** @type {Work} */
  const work = (await downloaded(`work/${stop.visit.id}`)) ?? fresh(stop, (await downloaded('equipment')) ?? '');
  const redraw = async () => {
    await download(`work/${stop.visit.id}`, work);
    page.replaceChildren(...parts(stop, decision, day, work, redraw, back));
  };
  page.append(...parts(stop, decision, day, work, redraw, back));
  return page;
}

/** @param {any} stop @param {string} equipment @returns {Work} */
const fresh = (stop, equipment) => ({ visit: stop.visit.id, here: false, ground: '', started_at: '', finished_at: '', air: '', equipment, used: {}, cleaned: '' });

/**
 * @param {any} stop @param {any} decision @param {import('./day.js').Day} day @param {Work} work
 * @param {() => Promise<void>} redraw @param {() => void} back
 */
function parts(stop, decision, day, work, redraw, back) {
  const head = [
    h('button', { class: 'plain', type: 'button', onclick: back }, 'Back to the day'),
    h('h1', {}, stop.property.address),
    h('p', {}, `${stop.client_name}${stop.client_phone ? `, ${stop.client_phone}` : ''}`),
  ];
  if (!work.here) return [...head, ...arrival(work, redraw)];
  if (work.started_at === '') return [...head, ...before(stop, decision, day, work, redraw)];
  if (work.finished_at === '') return [...head, ...during(stop, decision, day, work, redraw)];
  return [...head, ...after(stop, decision, day, work, redraw, back)];
}

/** @param {Work} work @param {() => Promise<void>} redraw */
function arrival(work, redraw) {
  const here = () => {
    work.here = true;
    void redraw();
  };
  return [h('p', { class: 'ask' }, 'Read the number on the house.'), h('button', { class: 'big', type: 'button', onclick: here }, 'I am at this address')];
}

/** @param {any} stop @param {any} decision */
function howMuch(stop, decision) {
  const rows = stop.sections.map((/** @type {any} */ section) => {
    const answer = decision?.sections.find((/** @type {any} */ one) => one.section_id === section.id);
    const amount = answer ? `${pounds(answer.product_lb)} lb` : 'no target';
    const bags = answer ? `${pounds(Number(answer.product_lb) / Number(stop.product.net_weight_lb))} bags` : '';
    const half = answer ? `Set for ${pounds(answer.half_rate_product_lb_per_1000_sqft)} lb on 1,000 sq ft and walk it twice, crosswise.` : '';
    return h('li', {}, h('strong', {}, section.name), ` ${section.area_sqft ?? '?'} sq ft: `, h('strong', {}, amount), ` ${bags}`, h('br'), half,
      answer?.bound_by_words ? h('small', {}, answer.bound_by_words) : null);
  });
  return [h('h2', {}, `How much: ${stop.product.name}`), h('ul', { class: 'amounts' }, ...rows)];
}

/** @param {any} decision */
function verdict(decision) {
  if (!decision) return [h('p', { class: 'verdict care' }, 'Care: no answer was downloaded for this stop.')];
  const reasons = decision.findings.map((/** @type {any} */ finding) => h('li', {}, finding.message, ' ', h('em', {}, finding.hint)));
  return [h('p', { class: `verdict ${decision.verdict}` }, decision.summary), reasons.length > 0 ? h('details', {}, h('summary', {}, 'Reasons, and what would clear them'), h('ul', {}, ...reasons)) : null];
}

/** @param {any} stop @param {any} decision @param {import('./day.js').Day} day @param {Work} work @param {() => Promise<void>} redraw */
function before(stop, decision, day, work, redraw) {
  const start = () => {
    if (work.ground === '' || work.equipment === '') return;
    work.started_at = now(day);
    void download('equipment', work.equipment);
    void redraw();
  };
  return [
    ...howMuch(stop, decision),
    ...verdict(decision),
    choice('The ground is', GROUND, work.ground, (word) => void (work.ground = word, redraw())),
    choice('With', EQUIPMENT, work.equipment, (word) => void (work.equipment = word, redraw())),
    h('p', { class: 'caution' }, 'Read the label. Fill on pavement, sweep up at once, keep people and animals off.'),
    h('button', { class: 'big', type: 'button', onclick: start, disabled: work.ground === '' || work.equipment === '' }, 'Start'),
  ];
}

/** @param {any} stop @param {any} decision @param {import('./day.js').Day} day @param {Work} work @param {() => Promise<void>} redraw */
function during(stop, decision, day, work, redraw) {
  const finish = () => {
    work.finished_at = now(day);
    void redraw();
  };
  return [h('p', {}, `Started at ${clock(work.started_at)}.`), ...howMuch(stop, decision), h('button', { class: 'big', type: 'button', onclick: finish }, 'Finish')];
}

/**
 * @param {any} stop @param {any} decision @param {import('./day.js').Day} day @param {Work} work
 * @param {() => Promise<void>} redraw @param {() => void} back
 */
function after(stop, decision, day, work, redraw, back) {
  const fault = h('p', { role: 'alert', class: 'fault' });
  const sure = new Set();
  const save = async () => {
    const wrong = missing(stop, decision, work, sure);
    fault.textContent = wrong;
    if (wrong !== '') return;
    try {
      await send({ id: newId(), by: day.me.person.id, made_at: Date.now(), record: record(stop, work), words: stop.property.address, state: 'waiting', problem: null, tries: 0 });
    } catch {
      fault.textContent = 'This phone could not keep the record: its memory is full or locked. Write it down, make room, and press Save again.';
      return;
    }
    await download(`work/${stop.visit.id}`, undefined);
    back();
  };
  const amounts = stop.sections.map((/** @type {any} */ section) => {
    const expected = expectedOf(decision, section.id);
    const input = /** @type {HTMLInputElement} */ (h('input', { id: `used-${section.id}`, inputmode: 'decimal', autocomplete: 'off', 'aria-describedby': `usual-${section.id}`,
      oninput: (/** @type {InputEvent} */ event) => void (work.used[section.id] = /** @type {HTMLInputElement} */ (event.target).value) }));
    input.value = work.used[section.id] ?? '';
    return h('div', { class: 'amount' }, h('label', { for: `used-${section.id}` }, `Used on the ${section.name}`), input, h('span', { class: 'unit' }, 'lb'),
      h('small', { id: `usual-${section.id}` }, expected ? `Usual here: ${pounds(expected * USUAL.least)} to ${pounds(expected * USUAL.most)} lb. Leave it empty if nothing went on it.` : 'Leave it empty if nothing went on it.'));
  });
  const air = /** @type {HTMLInputElement} */ (h('input', { id: 'air', inputmode: 'decimal', autocomplete: 'off', oninput: (/** @type {InputEvent} */ event) => void (work.air = /** @type {HTMLInputElement} */ (event.target).value) }));
  air.value = work.air;
  return [
    h('p', {}, `From ${clock(work.started_at)} to ${clock(work.finished_at)}, on ${GROUND[/** @type {keyof typeof GROUND} */ (work.ground)].toLowerCase()} ground.`),
    ...amounts,
    choice('Pavement swept or blown back', { yes: 'Yes', no: 'No' }, work.cleaned, (word) => void (work.cleaned = word, redraw())),
    h('div', { class: 'amount' }, h('label', { for: 'air' }, 'Air, if you measured it'), air, h('span', { class: 'unit' }, '°F')),
    fault,
    h('button', { class: 'big', type: 'button', onclick: () => void save() }, 'Save'),
  ];
}

/** @param {any} decision @param {string} section */
const expectedOf = (decision, section) => Number(decision?.sections.find((/** @type {any} */ one) => one.section_id === section)?.product_lb ?? 0);

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
 * @param {string} title @param {Record<string, string>} words @param {string} chosen @param {(word: string) => void} choose
 */
function choice(title, words, chosen, choose) {
  const buttons = Object.entries(words).map(([word, label]) => h('button', { type: 'button', class: 'pick', 'aria-pressed': chosen === word ? 'true' : 'false', onclick: () => choose(word) }, chosen === word ? `✓ ${label}` : label));
  return h('fieldset', {}, h('legend', {}, title), ...buttons);
}
