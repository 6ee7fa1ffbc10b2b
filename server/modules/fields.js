// @ts-check
// What a thumb answers with: buttons, and numbers with their unit. Nothing of it is filled in beforehand.

import { h } from './dom.js';

/** A number as a thumb types it. @param {string} text */
export const number = (text) => text.trim().replace(',', '.');

/** Square feet as a thumb types them: here a comma parts the thousands. @param {string} text */
export const areaNumber = (text) => text.trim().replace(/(?<=\d),(?=\d{3}(\D|$))/g, '');

/** Enter goes on to what is asked next. @param {KeyboardEvent} event */
function goOn(event) {
  if (event.key !== 'Enter') return;
  event.preventDefault();
  const input = /** @type {HTMLElement} */ (event.target);
  const asked = [...document.querySelectorAll('.stop input, .stop fieldset button:first-of-type, .stop [data-key="save"]')].filter((one) => one.closest('details:not([open])') === null);
  // The last one is left all the same, so that what stands in it counts.
  const next = /** @type {HTMLElement | undefined} */ (asked[asked.indexOf(input) + 1]);
  if (next) next.focus();
  else input.blur();
}

/**
 * A field with its label.
 * @param {string} id @param {string} label @param {string} value @param {(text: string) => void} changed @param {Record<string, any>} more attributes
 */
function field(id, label, value, changed, more) {
  const oninput = (/** @type {InputEvent} */ event) => changed(/** @type {HTMLInputElement} */ (event.target).value);
  const input = /** @type {HTMLInputElement} */ (h('input', { id, autocomplete: 'off', enterkeyhint: 'next', 'data-key': id, oninput, onkeydown: goOn, ...more }));
  input.value = value;
  return [h('label', { for: id }, label), input];
}

/**
 * A number with its unit beside it, for the phone's number pad.
 * @param {string} id @param {string} label @param {string} unit @param {string} value @param {string} hint @param {(text: string) => void} changed @param {Record<string, any>} [more] attributes
 */
export const typed = (id, label, unit, value, hint, changed, more = {}) =>
  h('div', { class: 'amount' }, ...field(id, label, value, changed, { inputmode: 'decimal', 'aria-describedby': `unit-${id}${hint === '' ? '' : ` usual-${id}`}`, ...more }),
    h('span', { class: 'unit', id: `unit-${id}` }, unit), hint === '' ? null : h('small', { id: `usual-${id}` }, hint));

/** A line of text, or a time of day. @param {string} id @param {string} label @param {string} value @param {(text: string) => void} changed @param {Record<string, any>} [more] attributes */
export const line = (id, label, value, changed, more = {}) => h('div', { class: 'line' }, ...field(id, label, value, changed, more));

/** @param {string} title @param {Record<string, string>} words @param {(word: string) => boolean} isChosen @param {(word: string) => unknown} choose */
function buttons(title, words, isChosen, choose) {
  const all = Object.entries(words).map(([word, label]) => h('button', { type: 'button', class: 'pick', 'aria-pressed': isChosen(word) ? 'true' : 'false', 'data-key': `${title}/${word}`, onclick: () => void choose(word) }, isChosen(word) ? `✓ ${label}` : label));
  return h('fieldset', {}, h('legend', {}, title), ...all);
}

/**
 * Buttons of which one is pressed; none is beforehand.
 * @param {string} title @param {Record<string, string>} words @param {string} chosen @param {(word: string) => unknown} choose
 */
export const choice = (title, words, chosen, choose) => buttons(title, words, (word) => word === chosen, choose);

/** The same where nobody has to answer: pressed again, the button is up again. @type {typeof choice} */
export const optional = (title, words, chosen, choose) => choice(title, words, chosen, (word) => choose(word === chosen ? '' : word));

/** Buttons of which any number is pressed. @param {string} title @param {Record<string, string>} words @param {string[]} chosen @param {(words: string[]) => unknown} choose */
export const several = (title, words, chosen, choose) =>
  buttons(title, words, (word) => chosen.includes(word), (word) => choose(chosen.includes(word) ? chosen.filter((one) => one !== word) : [...chosen, word]));
