// @ts-check
// The air at a stop, as whoever is there measured it: asked openly before the start where no weather service is, and else left to
// whoever wants to tell it. It goes into the question and into the record.

import { h } from './dom.js';
import { number, typed } from './fields.js';
import { serverNow } from './time.js';
import { hasForecast } from './weather.js';

/** @typedef {import('./stop.js').Visit} Visit */
/** @typedef {import('./work.js').Work} Work */

/** The figures as typed. @param {Work} work */
const figures = ({ air, seen }) => ({ air: plain(air), mph: plain(seen?.mph ?? '') });

/** A number without the noughts that none begins with. @param {string} text */
const plain = (text) => number(text).replace(/^(-?)0+(?=\d)/, '$1');

/** What is wrong with a figure, or nothing. @param {Work} work */
export function wrongAir(work) {
  const { air, mph } = figures(work);
  if (!/^(-?\d{1,3}(\.\d)?)?$/.test(air) || Number(air) < -100 || Number(air) > 150) return 'The temperature must be a number, such as 71.5, or nothing.';
  if (!/^(\d{1,3}(\.\d)?)?$/.test(mph) || Number(mph) > 300) return 'The wind speed must be a number of miles an hour, such as 6.';
  return '';
}

/** The same figures make the same question. @param {Work} work */
export function airKey(work) {
  const { air, mph } = figures(work);
  return air === '' && mph === '' ? '' : `${air} °F, ${mph} mph`;
}

/** What was measured, as a check and a record take it; typed after the work, it is of the start. @param {Work} work @returns {Record<string, any>} */
export function airOf(work) {
  if (wrongAir(work) !== '') return {};
  const { air, mph } = figures(work);
  const from = (/** @type {'air' | 'mph'} */ figure) => ({ source: 'technician', observed_at: work.measured?.[figure] ?? work.started_at });
  return { ...(air === '' ? {} : { air_temperature: { air_temperature_f: air, ...from('air') } }), ...(mph === '' ? {} : { wind: { wind_mph: mph, ...from('mph') } }) };
}

/** The fields before the start. @param {Visit} visit @param {() => unknown} ask when a figure is complete @returns {HTMLElement} */
export function airHere(visit, ask) {
  const { stop, day, work, keep } = visit;
  const fault = h('p', { role: 'alert', class: 'fault' }, wrongAir(work));
  const onchange = () => {
    // The focus goes on first: what is drawn while it moves would take its goal away.
    setTimeout(() => {
      if (work.started_at === '') visit.redraw();
      ask();
    });
  };
  const kept = (/** @type {'air' | 'mph'} */ figure, /** @type {() => void} */ put) => {
    put();
    work.measured = { ...work.measured, [figure]: new Date(serverNow()).toISOString() };
    keep();
    // While it is typed nothing is drawn anew, and what stands at the foot answers another question.
    const state = document.querySelector('.foot .state');
    if (state === null || airKey(work) === visit.drawnAir) return;
    state.textContent = '▲ Not asked yet with what you typed.';
    state.className = 'state care';
  };
  const fields = [
    typed('mph', 'Wind speed', 'mph', work.seen?.mph ?? '', '', (text) => kept('mph', () => void ((work.seen ??= {}).mph = text)), { onchange }),
    typed('air', 'Air temperature', '°F', work.air, '', (text) => kept('air', () => void (work.air = text)), { onchange }),
    fault,
  ];
  if (!hasForecast(stop, day)) return h('section', {}, h('h2', {}, 'Wind and temperature here'), h('p', { class: 'source' }, 'No weather service is asked, so the answer knows only what you measure.'), ...fields);
  const ontoggle = (/** @type {Event} */ event) => void (visit.measure = /** @type {HTMLDetailsElement} */ (event.target).open);
  return h('details', { open: visit.measure, ontoggle }, h('summary', { 'data-key': 'air-here' }, 'Wind and temperature here, if you measured them'), ...fields);
}
