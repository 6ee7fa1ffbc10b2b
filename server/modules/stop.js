// @ts-check
// One stop: am I at the right place, how much, may I; then start, finish, and what was really used. What only a person can
// know is asked and never filled in beforehand.

import { airHere, airKey, airOf, wrongAir } from './air.js';
import { cautions, howMuch, limits, mark, openPoints, sentence, settings, source, verdict } from './answer.js';
import { call } from './api.js';
import { hasAmount, plan } from './day.js';
import { clock, h, replace } from './dom.js';
import { choice } from './fields.js';
import { toRead } from './files.js';
import { goneWords } from './gone.js';
import { clockWords, jumpSince, phoneClock, serverNow } from './time.js';
import { afterWork } from './used.js';
import { forecast } from './weather.js';
import { begin, keepWork, workOn } from './work.js';

/** @typedef {import('./work.js').Work} Work */
/** @typedef {import('./work.js').Asked} Asked */
/** @typedef {{ stop: any, downloaded: any, day: import('./day.js').Day, known: string, fate: string, grounds: import('./parts.js').Ground[], drawn: string, stoppedAt: number, more: boolean, measure: boolean, asking: boolean, drawnAir: string, work: Work, redraw: () => void, keep: () => void, back: (words?: string) => void }} Visit */

const GROUND = { dry: 'Dry', moist: 'Moist', saturated: 'Saturated', frozen: 'Frozen', snow_covered: 'Snow' };
const EQUIPMENT = {
  rotary_spreader: 'Rotary spreader',
  rotary_spreader_with_deflector: 'Rotary spreader with deflector',
  drop_spreader: 'Drop spreader',
};
/** How long a tap is taken for one that was meant for the button before it said something else, in milliseconds. */
const READ = 700;
/** Ground on which most rule sets let nothing down. */
/** @type {Record<string, string>} */
const BARRED = { saturated: 'saturated', frozen: 'frozen', snow_covered: 'covered with snow' };

/**
 * @param {any} stop a visit of the downloaded day
 * @param {import('./day.js').Decision | null} decision
 * @param {import('./day.js').Day} day
 * @param {import('./ground.js').Standing} standing what is known of records of it already
 * @param {(words?: string) => void} back with what there is to say on the list
 * @returns {Promise<HTMLElement>}
 */
export async function stopPage(stop, decision, day, { known, grounds, fate = '' }, back) {
  const page = h('section', { class: 'stop' });
  const work = ofToday(await workOn(day.me.person.id, stop.visit.id), day.day.day);
  // A phone without room goes on from memory; the record itself is never taken for kept when it is not.
  const keep = () => void keepWork(visit.work).catch(() => undefined);
  const redraw = () => {
    replace(page, () => parts(visit));
    keep();
  };
  /** @type {Visit} */
  const visit = { stop, downloaded: decision, day, known, fate, grounds, drawn: '', stoppedAt: -Infinity, more: Object.keys(work.seen ?? {}).length > 0, measure: airKey(work) !== '', asking: false, drawnAir: '', work, redraw, keep, back };
  page.append(...parts(visit));
  shown = { page, visit };
  if (work.here && work.started_at === '') void askAgain(visit);
  return page;
}

/** What was seen on another day is of that day: of a visit that was moved, ground and air are asked anew. @param {Work} work @param {string} today @returns {Work} */
const ofToday = (work, today) => (work.started_at !== '' || work.on === undefined || work.on === today ? work : { ...work, on: undefined, here: false, ground: '', air: '', asked: undefined, measured: undefined, seen: { ...work.seen, mph: undefined } });

/** How long an answer stands for the question that was asked, in milliseconds: weather and the year go on. */
const STANDS = 3_600_000;

/** Whether an answer is to what is said now. @param {Asked | { ground: string, equipment: string, supervisor?: string, air?: string }} one @param {Work} work */
const isTo = (one, work) => one.ground === work.ground && one.equipment === work.equipment && (one.supervisor ?? '') === (work.supervisor ?? '') && (one.air ?? '') === airKey(work);

/**
 * The server's answer to just this ground, equipment, supervisor and air, if it gave one since the day was downloaded and not long
 * ago. Of work that was begun it is the answer by which it was.
 * @param {Visit} visit @returns {Asked | null}
 */
function asked({ work, day }) {
  if (!work.asked) return null;
  if (work.started_at !== '') return work.asked;
  return isTo(work.asked, work) && work.asked.at >= day.at && serverNow() - work.asked.at < STANDS ? work.asked : null;
}

/** The best answer there is. @param {Visit} visit */
const answer = (visit) => asked(visit)?.decision ?? visit.downloaded;

/** @param {Visit} visit @returns {Node[]} */
function parts(visit) {
  const { stop, work, back } = visit;
  const head = [
    notices(visit),
    h('button', { class: 'plain', type: 'button', onclick: () => back(), 'data-key': 'back' }, '‹ Back to the day'),
    h('h1', {}, stop.property.address),
    h('p', {}, `${stop.client_name}${stop.client_phone ? `, ${stop.client_phone}` : ''}. ${stop.sections.map((/** @type {any} */ section) => section.name).join(', ')}.`),
  ];
  const body = !work.here ? arrival(visit) : work.started_at === '' ? before(visit) : work.finished_at === '' ? during(visit) : afterWork(visit, answer(visit), GROUND[/** @type {keyof typeof GROUND} */ (work.ground)].toLowerCase());
  return [...head, ...body].filter((node) => node !== null);
}

/** What has changed since this stop was opened; filled anew while somebody works below it, who is not disturbed. @param {Visit} visit */
function notices(visit) {
  const gone = visit.fate === '' ? null : h('p', { class: 'verdict stop' }, goneWords(visit.fate, visit.work.id !== ''));
  const set = clockWords(visit.work.since ?? visit.day.at, visit.day.me.time_zone);
  return h('div', { role: 'status', class: 'notices' }, gone, set === '' ? null : h('p', { class: 'caution' }, set));
}

/** The stop that was opened last, and its page. @type {{ page: HTMLElement, visit: Visit } | null} */
let shown = null;

/** Says at the top of the open stop what has changed. @param {import('./gone.js').Gone[]} gone stops that are not on the list any more */
export function tellStop(gone) {
  if (shown === null || !shown.page.isConnected) return;
  const { visit, page } = shown;
  const fate = gone.find((one) => one.stop.visit.id === visit.stop.visit.id)?.fate ?? '';
  const changed = fate !== visit.fate;
  visit.fate = fate;
  // Before the start little is typed, it is kept, and Start itself has to change.
  if (changed && visit.work.id === '') visit.redraw();
  else page.querySelector('.notices')?.replaceWith(notices(visit));
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
  const { ground, equipment, supervisor } = work;
  const air = airKey(work);
  if (ground === '' || equipment === '' || wrongAir(work) !== '' || !hasAmount(stop) || asked(visit)) return;
  const reply = await call('POST', '/api/v1/checks', plan(stop, day.day.day, { ground, equipment, supervisor, weather: airOf(work) }, visit.grounds));
  // Something else may have been said meanwhile, and that question has an answer of its own.
  if (reply.status !== 200 || work.started_at !== '' || !isTo({ ground, equipment, supervisor, air }, work)) return;
  work.asked = { decision: reply.body.decision, at: serverNow(), ground, equipment, supervisor, air };
  visit.redraw();
}

/** What stands against the start: what became of the visit, and what a rule stops. @param {Visit} visit */
function against(visit) {
  const decision = answer(visit);
  const stops = decision?.verdict === 'stop' ? decision.findings.filter((/** @type {any} */ one) => one.verdict === 'stop').map((/** @type {any} */ one) => one.message) : null;
  return visit.fate === '' && stops === null ? '' : JSON.stringify([visit.fate, stops]);
}

/** @param {Visit} visit */
function before(visit) {
  const { stop, day, work, redraw } = visit;
  const decision = answer(visit);
  const picked = (/** @type {'ground' | 'equipment' | 'supervisor'} */ what) => async (/** @type {string} */ word) => {
    work[what] = word;
    work.on = day.day.day;
    visit.asking = false;
    redraw();
    await askAgain(visit);
  };
  const first = unsaid(visit);
  const drawn = against(visit);
  if (drawn !== '' && drawn !== visit.drawn) visit.stoppedAt = performance.now();
  visit.drawn = drawn;
  visit.drawnAir = airKey(work);
  let starting = false;
  const start = async () => {
    if (first !== '' || starting || (drawn !== '' && performance.now() - visit.stoppedAt < READ)) return;
    // While the finger is down nothing is drawn: what came meanwhile against the start has to be read first.
    if (against(visit) !== drawn || airKey(work) !== visit.drawnAir) return redraw();
    starting = true;
    visit.work = await begin({ ...work, asked: asked(visit) ?? undefined, stop, decision: visit.downloaded, since: day.at, started_at: new Date(serverNow()).toISOString(), phone_started_at: phoneClock() });
    redraw();
  };
  const stopped = decision?.verdict === 'stop' || visit.fate !== '' || work.ground in BARRED;
  const words = visit.fate !== '' ? 'Start against the plan' : decision?.verdict === 'stop' ? 'Start against the rule (the owner will see it)' : stopped ? 'Start all the same' : 'Start';
  return [
    open(visit),
    ...(first === '' && !visit.asking ? [seenHere(visit)] : [choice('The ground is', GROUND, work.ground, picked('ground')), choice('With', EQUIPMENT, work.equipment, picked('equipment')), ...supervision(visit, picked('supervisor'))]),
    howMuch(stop, decision, visit.grounds),
    verdict(decision, source(stop, day, asked(visit))),
    // It stands whatever the server answers: not every law names such ground, and what is put on it runs off all the same.
    work.ground in BARRED ? h('p', { class: 'verdict stop' }, `■ Nothing belongs on ground that is ${BARRED[work.ground]}: it runs off.${asked(visit) ? '' : ' The answer above did not know the ground.'} Ask the office first.`) : null,
    airHere(visit, () => void askAgain(visit)),
    limits(stop, decision, day),
    settings(stop, day),
    forecast(stop, day),
    toRead(stop, day),
    cautions(),
    stopped ? h('p', { class: 'ask' }, 'Do not start. Ask the office.') : null,
    first === '' ? null : h('p', { class: 'source' }, first),
    // It stays at the foot of the screen, so that it does not move under the thumb when the answer arrives above it.
    h('div', { class: 'foot' }, h('span', { class: `state ${stopped ? 'stop' : decision?.verdict ?? 'care'}` }, stopped && decision?.verdict !== 'stop' ? '■ Do not start. Ask the office.' : first === '' ? sentence(decision) : mark(decision)), h('button', { class: stopped ? 'warned' : 'big', type: 'button', onclick: () => void start(), disabled: first !== '', 'data-key': 'start' }, words)),
  ];
}

/** What was said, in a line: what the answer rests on and what comes next fit on one screen with it. @param {Visit} visit */
function seenHere(visit) {
  const { stop, work, redraw } = visit;
  const who = stop.supervision?.people.find((/** @type {any} */ one) => one.id === work.supervisor)?.name ?? '';
  const supervised = !stop.supervision ? '' : who !== '' ? `, under ${who}` : work.supervisor === 'nobody' ? ', nobody supervises' : ', somebody else supervises, or it is not known';
  const words = `${work.ground === 'snow_covered' ? 'Ground covered with snow' : `${GROUND[/** @type {keyof typeof GROUND} */ (work.ground)]} ground`}, ${EQUIPMENT[/** @type {keyof typeof EQUIPMENT} */ (work.equipment)]?.toLowerCase() ?? work.equipment}${supervised}.`;
  return h('p', { class: 'said' }, h('span', {}, words), h('button', { class: 'plain', type: 'button', 'data-key': 'change', onclick: () => void ((visit.asking = true), redraw()) }, 'Change'));
}

/** What is to be said before the start. @param {Visit} visit */
function unsaid({ stop, work }) {
  const who = stop.supervision && !work.supervisor;
  if (work.ground !== '' && work.equipment !== '' && !who) return wrongAir(work);
  return who ? 'Say first how the ground is, with what you work, and who supervises.' : 'Say first how the ground is, and with what you work.';
}

/**
 * Who looks after the work, where this person may do it only under somebody who holds a certificate.
 * @param {Visit} visit @param {(word: string) => unknown} pick
 */
function supervision({ stop, work }, pick) {
  if (!stop.supervision) return [];
  const { people, source: law, was_read: read } = stop.supervision;
  const names = Object.fromEntries(people.map((/** @type {any} */ one) => [one.id, one.name]));
  const none = people.length > 0 ? '' : 'Nobody else of the company holds such a certificate today. ';
  return [choice('Who supervises this work?', { ...names, nobody: 'Nobody', unknown: 'Somebody else, or not known' }, work.supervisor ?? '', pick), h('p', { class: 'source' }, `${none}${read === false ? 'It was not read whether you may work here under' : 'You may work here only under'} somebody who holds a certificate (${law.citation}).`)];
}

/** @param {Visit} visit */
function during(visit) {
  const { stop, day, work, redraw } = visit;
  const finish = () => {
    // Counted on from another answer of the server, the end may lie a blink before the start.
    work.finished_at = new Date(Math.max(serverNow(), Date.parse(work.started_at))).toISOString();
    work.phone_finished_at = phoneClock();
    work.clock_jump_s = jumpSince(work.since ?? day.at)?.s;
    redraw();
  };
  return [h('p', {}, `Started at ${clock(work.started_at, day.me.time_zone)}.`), howMuch(stop, answer(visit), visit.grounds), h('button', { class: 'big', type: 'button', onclick: finish }, 'Finish')];
}
