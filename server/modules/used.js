// @ts-check
// After the work: what was treated of each section, and what was really used on it. Asked for each, and never filled in beforehand.

import { airOf, wrongAir } from './air.js';
import { amount, answerOf, shareOf } from './answer.js';
import { clock, h, threeFigures } from './dom.js';
import { areaNumber, choice, number, several, typed } from './fields.js';
import { leftOf, openGrounds, squareFeet, together } from './parts.js';
import { save as saveRecord } from './queue.js';
import { forTheRecord, missingSeen, peopleOf, seenFacts } from './seen.js';
import { dropWork } from './work.js';

/** @typedef {import('./parts.js').Ground} Ground */
/** @typedef {import('./stop.js').Visit} Visit */
/** @typedef {import('./work.js').Work} Work */

/** Used amounts outside this share of the expected one are asked about again: 260 for 26.0. */
const USUAL = { least: 0.5, most: 1.5 };
/** The word for ground that is none of the named parts; a part may be called like a word of this page, so it is not a name. */
const ANOTHER = '/';

/** @param {Visit} visit @param {any} decision @param {string} ground in a word @returns {(Node | null)[]} */
export function afterWork(visit, decision, ground) {
  const { stop, day, work, redraw, keep, back } = visit;
  const asked = openGrounds(visit.grounds);
  const fault = h('p', { role: 'alert', class: 'fault' });
  const sure = new Set();
  let saving = false;
  const save = async () => {
    if (saving) return;
    const wrong = missing(asked, decision, visit, sure);
    fault.textContent = wrong;
    if (wrong !== '') return;
    saving = true;
    try {
      const first = await saveRecord({ id: work.id, by: work.by, made_at: Date.now(), record: record(stop, asked, work, day.me.time_zone), words: stop.property.address, state: 'waiting', problem: null, tries: 0 });
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
    typed('air', 'Air temperature', '°F', work.air, 'If you measured it.', (text) => void ((work.air = text), (work.measured = { ...work.measured, air: undefined }), keep())),
    ...(none ? [] : forTheRecord(visit)),
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
    // The number is what comes next, so the thumb need not look for it; of a lawn in parts, these come first.
    document.getElementById(word !== 'part' ? `used-${id}` : saysArea(work, ground) ? `area-${id}` : '')?.focus();
  };
  const rest = touched && open !== null && open > 0;
  const size = rest ? `, ${leftOf(ground)} still open` : area === null ? '' : `, ${squareFeet(area)}`;
  const chosen = work.treated[id] ?? '';
  const planned = expectedOf(decision, ground);
  const named = chosen === 'part' ? partsOf(work, ground) : [];
  const share = named.length > 0 && open ? Math.min(1, together(named) / open) : 1;
  const of = chosen !== 'part' ? '' : named.length > 0 ? ' for this' : ' for all of it';
  const hint = planned === 0 ? '' : `Planned ${threeFigures(planned * share, true)} lb${of}.`;
  return h('section', { class: 'ground' },
    choice(`What was treated of the ${section.name}${size}?`, { all: rest ? 'All that was open' : 'All of it', part: 'Part of it', none: 'None' }, chosen, pick),
    ...(chosen === 'part' ? whichPart(work, ground, redraw) : []),
    chosen === 'part' && saysArea(work, ground) ? typed(`area-${id}`, `Treated of the ${section.name}`, 'sq ft', work.area[id] ?? '', '', (text) => void ((work.area[id] = text), keep())) : null,
    chosen === 'all' || chosen === 'part' ? typed(`used-${id}`, `Used on the ${section.name}`, 'lb', work.used[id] ?? '', hint, (text) => void ((work.used[id] = text), keep())) : null);
}

/** The parts that may be named: what is recorded already is done. @param {Ground} ground */
const offered = ({ parts, open }) => (open === 0 ? parts : parts.filter((part) => !part.done));

/** What was chosen of the parts. @param {Work} work @param {Ground} ground */
const chosenOf = (work, ground) => work.parts?.[ground.section.id] ?? [];

/** The parts that were named. @param {Work} work @param {Ground} ground */
const partsOf = (work, ground) => offered(ground).filter((part) => chosenOf(work, ground).includes(part.name));

/** Whether the square feet are to be typed: there are no parts, or it was none of them. @param {Work} work @param {Ground} ground */
const saysArea = (work, ground) => offered(ground).length === 0 || chosenOf(work, ground).includes(ANOTHER);

/** The named parts to choose from, and how much ground the chosen ones are. @param {Work} work @param {Ground} ground @param {() => void} redraw @returns {(Node | null)[]} */
function whichPart(work, ground, redraw) {
  const { section, parts, open } = ground;
  if (offered(ground).length === 0) return [];
  const before = chosenOf(work, ground);
  const choose = (/** @type {string[]} */ names) => {
    const last = names.find((name) => !before.includes(name));
    // Named ground and ground without a name are two things: the one that was chosen last holds.
    const kept = names.filter((name) => last === undefined || (name === ANOTHER) === (last === ANOTHER));
    work.parts = { ...work.parts, [section.id]: kept };
    redraw();
    if (last === ANOTHER) document.getElementById(`area-${section.id}`)?.focus();
  };
  const words = Object.fromEntries([...offered(ground).map((part) => [part.name, part.name]), [ANOTHER, 'Another part']]);
  const named = partsOf(work, ground);
  const done = open === 0 ? [] : parts.filter((part) => part.done).map((part) => part.name);
  return [
    done.length === 0 ? null : h('p', {}, `Recorded already: ${done.join(', ')}.`),
    several(`Which part of the ${section.name}?`, words, before, choose),
    named.length === 0 ? null : h('p', { class: 'figure' }, h('strong', {}, squareFeet(together(named))), named.map((part) => part.name).join(', ')),
  ];
}

/** What was planned for the ground that is open. @param {any} decision @param {Ground} ground */
function expectedOf(decision, ground) {
  const answer = answerOf(decision, ground.section.id);
  return answer ? amount(answer).product * shareOf(ground, answer) : 0;
}

/** What still has to be answered, or is worth a second look. @param {Ground[]} asked @param {any} decision @param {Visit} visit @param {Set<any>} sure */
function missing(asked, decision, visit, sure) {
  const { work } = visit;
  for (const ground of asked) {
    const wrong = wrongWith(ground, decision, work, sure);
    if (wrong !== '') return wrong;
  }
  if (work.cleaned === '') return 'Is the pavement clean, swept or blown back?';
  return wrongAir(work) || missingSeen(visit);
}

/** @param {Ground} ground @param {any} decision @param {Work} work @param {Set<any>} sure */
function wrongWith(ground, decision, work, sure) {
  const { section, area, open } = ground;
  const [id, name] = [section.id, section.name];
  const treated = work.treated[id] ?? '';
  if (treated === '') return `What was treated of the ${name}: all of it, part of it, or none?`;
  if (treated === 'none') return '';
  const most = open ? open : area;
  const named = partsOf(work, ground);
  const part = named.length > 0 ? String(together(named)) : areaNumber(work.area[id] ?? '');
  if (treated === 'part' && named.length === 0) {
    if (!saysArea(work, ground)) return `Which part of the ${name} was treated?`;
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

/** The record as the server takes it. @param {any} stop @param {Ground[]} asked @param {Work} work @param {string} zone */
function record(stop, asked, work, zone) {
  const treated = asked.filter(({ section }) => work.treated[section.id] !== 'none');
  const lines = treated.map((ground) => ({ section_id: ground.section.id, ...whereOf(work, ground), product_lb: number(work.used[ground.section.id]) }));
  return {
    property_id: stop.property.id, product_id: stop.product.id, visit_id: stop.visit.id, started_at: work.started_at, finished_at: work.finished_at,
    purpose: stop.visit.purpose, equipment: work.equipment, ground: work.ground, pavement_cleaned: work.cleaned === 'yes', weather: airOf(work), lines,
    ...seenFacts(work, zone), ...peopleOf(work), ...clocks(work),
  };
}

/**
 * Where a line lies. The whole of a section is what the office has measured; parts are said by their names, and other ground in
 * square feet. A rest is the parts that are left, where it is just those.
 * @param {Work} work @param {Ground} ground
 */
function whereOf(work, ground) {
  const { section, open, touched, rest } = ground;
  const named = partsOf(work, ground);
  if (work.treated[section.id] === 'part') return named.length > 0 ? { parts: named.map((part) => part.name) } : { treated_area_sqft: areaNumber(work.area[section.id]) };
  if (rest !== null) return { parts: rest };
  return touched && open ? { treated_area_sqft: String(Math.floor(open * 100) / 100) } : {};
}

/** What the phone's own clock said, where that is known. @param {Work} work */
function clocks({ phone_started_at, phone_finished_at, clock_jump_s }) {
  return { ...(phone_started_at ? { phone_started_at } : {}), ...(phone_finished_at ? { phone_finished_at } : {}), ...(clock_jump_s ? { clock_jump_s } : {}) };
}
