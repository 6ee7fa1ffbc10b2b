// @ts-check
// The forecast of a stop as it came with the day, in plain words: the hours that suit, rain, wind, alerts, and how old each is.
// It is kept with the day, so it can be read without a network, and what is over by now is left out.

import { writtenDay } from './day.js';
import { clock, h, span } from './dom.js';
import { serverNow } from './time.js';

const SHAPE = { go: '●', care: '▲', stop: '■' };
const WORD = { go: 'may go', care: 'with care', stop: 'stop' };
const SERVICE = { us_national_weather_service: 'the US National Weather Service', open_meteo: 'Open-Meteo.com, CC BY 4.0' };
/** Minutes after which the server calls a forecast stale: from then on it may stop work, and clears none. */
const STALE = 180;

/** @typedef {import('./day.js').Day} Day */
/** @typedef {{ from: string, to: string, verdict: keyof typeof SHAPE, why: string | null, too_hot?: boolean }} Stretch */

/** What the day says of a stop's weather. @param {any} stop @param {Day} day */
const told = (stop, day) => (day.day.weather ?? []).find((/** @type {any} */ one) => one.visit_id === stop.visit.id);

/** Whether a weather service was asked about a stop. @param {any} stop @param {Day} day */
export const hasForecast = (stop, day) => told(stop, day) !== undefined;

/** Hours of the day that are not over. @param {any} weather @returns {Stretch[]} */
const ahead = (weather) => weather.stretches.filter((/** @type {Stretch} */ one) => Date.parse(one.to) > serverNow());

/** @param {Stretch} one @param {string} zone */
const hours = (one, zone) => `${clock(one.from, zone)} to ${clock(one.to, zone)}`;

/** As short as people say it, such as 1–5 PM. @param {Stretch} one @param {string} zone */
function range(one, zone) {
  const [[from, half], [to, other]] = [one.from, one.to].map((at) => clock(at, zone).split(/\s/));
  if (half === undefined || other === undefined) return `${from}–${to}`;
  const [begin, end] = [from, to].map((time) => time.replace(/:00$/, ''));
  return half === other ? `${begin}–${end} ${other}` : `${begin} ${half}–${end} ${other}`;
}

/** Whether the weather holds a stop up, in a sentence for the list; nothing when every hour to come suits. @param {any} stop @param {Day} day @returns {string[]} */
export function weatherHold(stop, day) {
  const weather = told(stop, day);
  if (!weather) return [];
  const left = ahead(weather);
  const zone = stop.property.time_zone;
  if (left.length === 0) return ['Weather: the working hours that were judged are over.'];
  const held = left.filter((one) => one.verdict === 'stop');
  const cause = held.every((one) => one.too_hot) ? 'Too hot' : 'Weather hold';
  if (held.length === left.length) return [`${cause}: no hour that is left of the day suits. ${held[0].why ?? ''}`.trim()];
  if (held.length > 0) return [`${cause} ${joined(held).map((one) => range(one, zone)).join(' and ')}.`];
  return left.some((one) => one.verdict === 'go') ? [] : [`Weather: no hour is a plain go. ${left[0].why ?? ''}`.trim()];
}

/** Stretches that follow one another, as one. @param {Stretch[]} stretches @returns {Stretch[]} */
function joined(stretches) {
  /** @type {Stretch[]} */
  const found = [];
  for (const one of stretches) {
    const last = found.at(-1);
    if (last && last.to === one.from) found[found.length - 1] = { ...last, to: one.to };
    else found.push(one);
  }
  return found;
}

/** The forecast of a stop, whole. @param {any} stop @param {Day} day @returns {HTMLElement | null} */
export function forecast(stop, day) {
  const weather = told(stop, day);
  const heading = h('h2', {}, 'Weather');
  if (!weather) return (day.day.weather ?? []).length > 0 ? null : h('section', {}, heading, h('p', {}, '▲ No weather service is asked. What you see and measure decides.'));
  const zone = stop.property.time_zone;
  const rows = ahead(weather).map((one) => h('li', {}, `${SHAPE[one.verdict]} ${hours(one, zone)}: ${WORD[one.verdict]}. ${one.why ?? ''}`.trim()));
  const next = weather.next_window ? h('p', {}, `Next hours that may go: ${weekday(weather.next_window.from, zone)}, ${hours(weather.next_window, zone)}.`) : null;
  const gaps = weather.gaps.map((/** @type {any} */ gap) => h('li', {}, `▲ Missing, ${gap.part}: ${gap.why}`));
  return h('section', {}, heading, rows.length > 0 ? h('ul', { class: 'plain-list' }, ...rows) : h('p', {}, '▲ The working hours that were judged are over.'), next,
    ...weather.services.map((/** @type {any} */ one) => source(one, zone, day)),
    h('details', {}, h('summary', {}, 'Rain, wind and alerts'),
      ...weather.services.map((/** @type {any} */ one) => service(one, zone)), gaps.length > 0 ? h('ul', { class: 'plain-list' }, ...gaps) : null),
    h('p', { class: 'source' }, 'A forecast is for some square miles and the hours to come. Look at the sky and the ground.'));
}

/** What one service says. @param {any} one @param {string} zone */
function service(one, zone) {
  const said = one.weather;
  const lines = [
    ...said.rain_forecast.map((/** @type {any} */ rain) => h('li', {}, rainWords(rain, zone))),
    said.wind ? h('li', {}, `Wind ${said.wind.wind_mph} mph${said.wind.gust_mph ? `, gusts ${said.wind.gust_mph}` : ''}, ${basis(said.wind, zone)}.`) : h('li', {}, '▲ Wind: not known.'),
    said.air_temperature ? h('li', {}, `Air ${said.air_temperature.air_temperature_f} °F, ${basis(said.air_temperature, zone)}.`) : h('li', {}, '▲ Air temperature: not known.'),
    h('li', {}, alertWords(said.alerts, zone)),
  ];
  return h('ul', { class: 'plain-list' }, ...lines);
}

/** Who says it, and how old it is. @param {any} one @param {string} zone @param {Day} day */
function source(one, zone, day) {
  const name = SERVICE[/** @type {keyof typeof SERVICE} */ (one.service)] ?? one.service;
  const from = one.sample ? '▲ A sample, made up for this demonstration and no weather at all, in the form of' : 'From';
  return h('p', { class: 'source' }, `${from} ${name}. ${age(one, zone, day)}`);
}

/** Rain within a span: the likeliest depth, and the most that the forecast allows. @param {any} rain @param {string} zone */
function rainWords(rain, zone) {
  const best = rain.bounds?.best_in ?? rain.rain_in;
  const whole = rain.service && Number(rain.service.coverage_percent) < 100 ? ` ▲ Only ${rain.service.coverage_percent} % of these hours is forecast.` : '';
  const chance = rain.chance_percent === null || rain.chance_percent === undefined ? '' : `, chance ${rain.chance_percent} %`;
  return `Rain in ${rain.hours} hours from ${clock(rain.bounds?.starts_at ?? rain.issued_at, zone)}: ${best} in likely, ${rain.rain_in} in at most${chance}.${whole}`;
}

/** @param {any} alerts @param {string} zone */
function alertWords(alerts, zone) {
  if (!alerts) return '▲ Alerts: not known.';
  const names = [...alerts.active.map((/** @type {any} */ one) => `${one.event} ${one.level}`.replaceAll('_', ' ')), ...(alerts.others ?? [])];
  const at = `looked up at ${clock(alerts.looked_at, zone)}`;
  return names.length > 0 ? `■ Alerts: ${names.join(', ')}; ${at}.` : `No alerts, ${at}.`;
}

/** Measured or forecast, and for when. @param {any} value @param {string} zone */
const basis = (value, zone) => `${value.service?.basis === 'observed' ? 'measured at' : 'forecast for'} ${clock(value.observed_at, zone)}`;

/** @param {any} one @param {string} zone @param {Day} day */
function age(one, zone, day) {
  const station = one.station ? ` Station ${one.station}.` : '';
  if (!one.forecast_fetched_at) return `▲ No forecast.${station}`;
  const old = serverNow() - Date.parse(one.forecast_fetched_at);
  const made = one.forecast_issued_at ? `, made at ${clock(one.forecast_issued_at, zone)}` : '';
  const worth = one.forecast_age === 'stale' || one.forecast_age === 'useless' || old > STALE * 60_000 ? ' ▲ Old: it may stop work, and clears none.' : '';
  return `Forecast fetched at ${clock(one.forecast_fetched_at, zone)}, ${span(old)} ago${made}.${station}${worth}`;
}

/** @param {string} at @param {string} zone */
const weekday = (at, zone) => {
  try {
    return new Date(at).toLocaleDateString('en-US', { weekday: 'long', timeZone: zone });
  } catch {
    return writtenDay(at.slice(0, 10), undefined);
  }
};
