// @ts-check
// After the work: what was treated of each section, and what was really used on it. Asked for each, and never filled in beforehand.

import { amount, answerOf } from './answer.js';
import { clock, h, threeFigures } from './dom.js';
import { openGrounds, squareFeet } from './ground.js';
import { save as saveRecord } from './queue.js';
import { dropWork } from './work.js';

/** @typedef {import('./ground.js').Ground} Ground */
/** @typedef {import('./stop.js').Visit} Visit */
/** @typedef {import('./work.js').Work} Work */

/** Used amounts outside this share of the expected one are asked about again: 260 for 26.0. */
const USUAL = { least: 0.5, most: 1.5 };

/** @param {Visit} visit @param {any} decision @param {string} ground in a word @returns {Node[]} */
export function afterWork(visit, decision, ground) {
  const { stop, day, work, redraw, keep, back } = visit;
  const asked = openGrounds(visit.grounds);
  const fault = h('p', { role: 'alert', class: 'fault' });
  const sure = new Set();
  let saving = false;
  const save = async () => {
    if (saving) return;
    const wrong = missing(asked, decision, work, sure);
    fault.textContent = wrong;
    if (wrong !== '') return;
    saving = true;
    try {
      const first = await saveRecord({ id: work.id, by: work.by, made_at: Date.now(), record: record(stop, asked, work), words: stop.property.address, state: 'waiting', problem: null, tries: 0 });
      back(first ? '' : `${stop.property.address}: this work was saved already. It is one record.`);
    } catch {
      fault.textContent = 'This phone could not keep the record: its memory is full or locked. Write it down, make room, and press Save again.';
      saving = false;
    }
  };
  const nothing = async () => {
    await dropWork(work).catch(() => undefined);
    back(`${stop.property.address}: nothing was treated, so nothing was recorded. Tell the office why.`);
  };
  const none = asked.every((one) => work.treated[one.section.id] === 'none');
  return [
    h('p', {}, `From ${clock(work.started_at, day.me.time_zone)} to ${clock(work.finished_at, day.me.time_zone)}, on ${ground} ground.`),
    ...asked.map((one) => treatedPart(visit, decision, one)),
    choice('Is the pavement clean?', { yes: 'Yes', no: 'No' }, work.cleaned, (word) => void ((work.cleaned = word), redraw())),
    typed('air', 'Air temperature', '°F', work.air, 'If you measured it.', (text) => void ((work.air = text), keep())),
    fault,
    none
      ? h('button', { class: 'warned', type: 'button', 'data-key': 'save', onclick: () => void nothing() }, 'Nothing was treated: delete this start')
      : h('button', { class: 'big', type: 'button', 'data-key': 'save', onclick: () => void save() }, 'Save'),
  ];
}

/** What was treated of one section, and with how much. @param {Visit} visit @param {any} decision @param {Ground} ground */
function treatedPart({ work, redraw, keep }, decision, ground) {
  const { section, area, open, touched } = ground;
  const id = section.id;
  const pick = (/** @type {string} */ word) => {
    work.treated[id] = word;
    redraw();
    // The number is what comes next, so the thumb need not look for it.
    document.getElementById(word === 'part' ? `area-${id}` : `used-${id}`)?.focus();
  };
  const rest = touched && open !== null && open > 0;
  const size = rest ? `, ${squareFeet(open)} still open` : area === null ? '' : `, ${squareFeet(area)}`;
  const chosen = work.treated[id] ?? '';
  const planned = expectedOf(decision, ground);
  const hint = planned === 0 ? '' : `Planned ${threeFigures(planned, true)} lb${chosen === 'part' ? ' for all of it' : ''}.`;
  return h('section', { class: 'ground' },
    choice(`What was treated of the ${section.name}${size}?`, { all: rest ? 'All that was open' : 'All of it', part: 'Part of it', none: 'None' }, chosen, pick),
    chosen === 'part' ? typed(`area-${id}`, `Treated of the ${section.name}`, 'sq ft', work.area[id] ?? '', '', (text) => void ((work.area[id] = text), keep())) : null,
    chosen === 'all' || chosen === 'part' ? typed(`used-${id}`, `Used on the ${section.name}`, 'lb', work.used[id] ?? '', hint, (text) => void ((work.used[id] = text), keep())) : null);
}

/** What was planned for the ground that is open. @param {any} decision @param {Ground} ground */
function expectedOf(decision, { section, area, open }) {
  const answer = answerOf(decision, section.id);
  if (!answer) return 0;
  return amount(answer).product * (open && area ? open / area : 1);
}

/** A number as a thumb types it. @param {string} text */
const number = (text) => text.trim().replace(',', '.');

/** Square feet as a thumb types them: here a comma parts the thousands. @param {string} text */
export const areaNumber = (text) => text.trim().replace(/(?<=\d),(?=\d{3}(\D|$))/g, '');

/** What still has to be answered, or is worth a second look. @param {Ground[]} asked @param {any} decision @param {Work} work @param {Set<any>} sure */
function missing(asked, decision, work, sure) {
  for (const ground of asked) {
    const wrong = wrongWith(ground, decision, work, sure);
    if (wrong !== '') return wrong;
  }
  if (work.cleaned === '') return 'Is the pavement clean, swept or blown back?';
  if (work.air.trim() !== '' && !/^-?\d{1,3}(\.\d)?$/.test(number(work.air))) return 'The temperature must be a number, such as 71.5, or nothing.';
  return '';
}

/** @param {Ground} ground @param {any} decision @param {Work} work @param {Set<any>} sure */
function wrongWith(ground, decision, work, sure) {
  const { section, area, open } = ground;
  const [id, name] = [section.id, section.name];
  const treated = work.treated[id] ?? '';
  if (treated === '') return `What was treated of the ${name}: all of it, part of it, or none?`;
  if (treated === 'none') return '';
  const most = open ? open : area;
  const part = areaNumber(work.area[id] ?? '');
  if (treated === 'part') {
    const between = most === null ? '' : ` and less than ${squareFeet(most)}; if it was all, say so`;
    if (!/^\d{1,7}(\.\d{1,2})?$/.test(part) || Number(part) === 0 || (most !== null && Number(part) >= most)) return `How much of the ${name} was treated? The square feet must be more than 0${between}.`;
  }
  const text = number(work.used[id] ?? '');
  if (text === '') return `How much was used on the ${name}?`;
  if (!/^\d{1,5}(\.\d{1,6})?$/.test(text) || Number(text) === 0) return `The amount on the ${name} must be a number of pounds, such as 26.5.`;
  const expected = expectedOf(decision, ground) * (treated === 'part' && most ? Number(part) / most : 1);
  const odd = expected > 0 && (Number(text) < expected * USUAL.least || Number(text) > expected * USUAL.most);
  const said = `${id} ${part} ${text}`;
  if (!odd || sure.has(said)) return '';
  sure.add(said);
  const on = treated === 'part' ? `${squareFeet(Number(part))} of the ${name}` : `the ${name}`;
  return `${text} lb on ${on} is not usual: planned were ${threeFigures(expected, true)} lb. If it is right, press Save again.`;
}

/** The record as the server takes it. @param {any} stop @param {Ground[]} asked @param {Work} work */
function record(stop, asked, work) {
  const lines = asked.filter(({ section }) => work.treated[section.id] !== 'none').map(({ section, open, touched }) => {
    // The whole of a section is what the office has measured; a part is said in square feet, and so is a rest.
    const part = work.treated[section.id] === 'part' ? areaNumber(work.area[section.id]) : touched && open ? String(Math.floor(open * 100) / 100) : null;
    return { section_id: section.id, ...(part === null ? {} : { treated_area_sqft: part }), product_lb: number(work.used[section.id]) };
  });
  const air = number(work.air);
  const weather = air === '' ? {} : { air_temperature: { air_temperature_f: air, source: 'technician', observed_at: work.started_at } };
  return {
    property_id: stop.property.id, product_id: stop.product.id, visit_id: stop.visit.id, started_at: work.started_at, finished_at: work.finished_at,
    purpose: stop.visit.purpose, equipment: work.equipment, ground: work.ground, pavement_cleaned: work.cleaned === 'yes', weather, lines,
    ...clocks(work),
  };
}

/** What the phone's own clock said, where that is known. @param {Work} work */
function clocks({ phone_started_at, phone_finished_at, clock_jump_s }) {
  return { ...(phone_started_at ? { phone_started_at } : {}), ...(phone_finished_at ? { phone_finished_at } : {}), ...(clock_jump_s ? { clock_jump_s } : {}) };
}

/** Enter goes on to what is asked next. @param {KeyboardEvent} event */
function goOn(event) {
  if (event.key !== 'Enter') return;
  event.preventDefault();
  const input = /** @type {HTMLElement} */ (event.target);
  const asked = [...document.querySelectorAll('.stop input, .stop fieldset button:first-of-type, .stop [data-key="save"]')];
  /** @type {HTMLElement | undefined} */ (asked[asked.indexOf(input) + 1])?.focus();
}

/**
 * A number with its unit beside it, for the phone's number pad.
 * @param {string} id @param {string} label @param {string} unit @param {string} value @param {string} hint @param {(text: string) => void} changed
 */
function typed(id, label, unit, value, hint, changed) {
  const oninput = (/** @type {InputEvent} */ event) => changed(/** @type {HTMLInputElement} */ (event.target).value);
  const input = /** @type {HTMLInputElement} */ (h('input', { id, inputmode: 'decimal', autocomplete: 'off', enterkeyhint: 'next', 'data-key': id, 'aria-describedby': `unit-${id}${hint === '' ? '' : ` usual-${id}`}`, oninput, onkeydown: goOn }));
  input.value = value;
  return h('div', { class: 'amount' }, h('label', { for: id }, label), input, h('span', { class: 'unit', id: `unit-${id}` }, unit), hint === '' ? null : h('small', { id: `usual-${id}` }, hint));
}

/**
 * Buttons of which one is pressed; none is beforehand.
 * @param {string} title @param {Record<string, string>} words @param {string} chosen @param {(word: string) => unknown} choose
 */
export function choice(title, words, chosen, choose) {
  const buttons = Object.entries(words).map(([word, label]) => h('button', { type: 'button', class: 'pick', 'aria-pressed': chosen === word ? 'true' : 'false', 'data-key': `${title}/${word}`, onclick: () => void choose(word) }, chosen === word ? `✓ ${label}` : label));
  return h('fieldset', {}, h('legend', {}, title), ...buttons);
}
