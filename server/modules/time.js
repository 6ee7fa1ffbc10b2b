// @ts-check
// What time it is by the server. A phone's own clock may stand wrong and may be put right in the middle of the work, so the server's
// time is counted on from its last answer without asking that clock, and a jump of the clock is noticed and told.

import { clock, span } from './dom.js';
import { download, downloaded } from './shelf.js';

/** @typedef {{ server: number, wall: number, count: number }} Moment the server's time, what the phone's clock said then, and its monotonic count */
/** @typedef {{ at: number, s: number }} Jump when it was noticed, by the server's time, and by how many seconds; ahead is positive */

/** A jump that is told, in milliseconds: less is what clocks do by themselves. */
const NOTICED = 60_000;
/** How often the two are compared while the page shows. */
const EVERY = 5_000;
const NAME = 'clock';

/** @type {Moment | null} */
let anchor = null;
/** The last comparison. @type {{ wall: number, count: number, hidden: boolean }} */
let last = { wall: Date.now(), count: performance.now(), hidden: document.visibilityState === 'hidden' };
/** @type {Jump[]} */
let jumps = [];
/** @type {Set<() => void>} */
const listeners = new Set();

/** @param {() => void} listener */
export const onJump = (listener) => void listeners.add(listener);

/** What the phone's own clock says. */
export const phoneClock = () => new Date().toISOString();

/** The time now by the server, in milliseconds. */
export function serverNow() {
  compare();
  return anchor === null ? Date.now() : anchor.server + (performance.now() - anchor.count);
}

/** How far the server's time is ahead of what the phone's clock says. */
export const skewNow = () => serverNow() - Date.now();

/** What is to be said of the phone's clock; nothing when it goes with the server's. @param {number} since the download, by the server's time @param {string} zone */
export function clockWords(since, zone) {
  const jump = jumpSince(since);
  if (jump !== null) return `▲ This phone's clock jumped ${span(jump.s * 1000)} ${jump.s > 0 ? 'ahead' : 'back'} at ${clock(jump.at, zone)}. Times go by the server's clock, and a record carries both.`;
  const skew = skewNow();
  return Math.abs(skew) > 300_000 ? `This phone's clock is ${span(skew)} off; the server's time is used. Set it when you can.` : '';
}

/** The largest jump since a moment of the server's time, in seconds, or null. @param {number} since */
export function jumpSince(since) {
  compare();
  const after = jumps.filter((one) => one.at >= since);
  return after.length === 0 ? null : after.reduce((most, one) => (Math.abs(one.s) > Math.abs(most.s) ? one : most));
}

/**
 * The server has told its time. @param {string} now @param {number} asked the monotonic count when it was asked
 */
export function hear(now, asked) {
  const server = Date.parse(now);
  if (Number.isNaN(server)) return;
  compare();
  const count = performance.now();
  // It was told on the way between the question and here.
  anchor = { server: server + (count - asked) / 2, wall: Date.now(), count };
  // Nothing older says anything of work that may still be on this phone.
  jumps = jumps.filter((one) => one.at > server - 7 * 86_400_000);
  void remember();
}

const remember = () => download(NAME, { server: serverAt(), wall: Date.now(), jumps }).catch(() => undefined);
const serverAt = () => (anchor === null ? Date.now() : anchor.server + (performance.now() - anchor.count));

/** Holds the phone's clock against the count that nobody can set. */
function compare() {
  const [wall, count, hidden] = [Date.now(), performance.now(), document.visibilityState === 'hidden'];
  const gap = wall - last.wall - (count - last.count);
  const away = last.hidden || hidden;
  last = { wall, count, hidden };
  if (Math.abs(gap) <= NOTICED || anchor === null) return;
  // In a phone that sleeps the count may stand still and the clock goes on, which is no jump: only a clock that was behind is put
  // forward, and by what it was behind.
  const behind = anchor.server - anchor.wall;
  const slept = away && gap > 0 && !(behind > NOTICED && gap >= behind - NOTICED);
  if (slept) {
    anchor = { ...anchor, server: anchor.server + gap };
    return;
  }
  if (away && gap > behind && behind > NOTICED) anchor = { ...anchor, server: anchor.server + gap - behind };
  noticed(gap);
}

/** @param {number} gap in milliseconds */
function noticed(gap) {
  jumps = [...jumps, { at: serverAt(), s: Math.round(gap / 1000) }];
  void remember();
  for (const listener of listeners) listener();
}

/** Takes up the count where the page was left, and goes on comparing. */
export async function startClock() {
  const kept = /** @type {{ server: number, wall: number, jumps: Jump[] } | undefined} */ (await downloaded(NAME));
  if (kept && anchor === null) {
    const wall = Date.now();
    // A clock that goes back while no page looks has been set; one that goes on may have gone on rightly.
    const back = Math.min(0, wall - kept.wall);
    anchor = { server: kept.server + (back < -NOTICED ? 0 : wall - kept.wall), wall, count: performance.now() };
    jumps = kept.jumps;
    if (back < -NOTICED) noticed(back);
  }
  let ticks = 0;
  setInterval(() => {
    compare();
    ticks += 1;
    if (ticks % 12 === 0) void remember();
  }, EVERY);
  document.addEventListener('visibilitychange', () => {
    compare();
    void remember();
  });
}

/** What a clock at a place shows at a moment, as a field of day and time takes it. @param {string | number} moment @param {string} zone */
export function localTime(moment, zone) {
  const parts = new Intl.DateTimeFormat('en-CA', { timeZone: zone, hourCycle: 'h23', year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit' }).formatToParts(new Date(moment));
  const of = (/** @type {string} */ kind) => parts.find((part) => part.type === kind)?.value;
  return `${of('year')}-${of('month')}-${of('day')}T${of('hour')}:${of('minute')}`;
}

/** The moment at which a clock at a place shows this, in milliseconds; null when it says no time. @param {string} text day and time @param {string} zone */
export function momentAt(text, zone) {
  const wanted = Date.parse(`${text}Z`);
  if (Number.isNaN(wanted)) return null;
  let moment = wanted;
  // The zone's distance from universal time is that of the moment itself, which the first round comes close to.
  for (let round = 0; round < 2; round += 1) moment -= Date.parse(`${localTime(moment, zone)}Z`) - wanted;
  return moment;
}
