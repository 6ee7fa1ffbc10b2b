// @ts-check
// Shows what is found while it is typed. Without a script, and with Enter, the same stands on a page of its own.

const form = /** @type {HTMLFormElement} */ (document.querySelector('.top .find'));
const field = /** @type {HTMLInputElement} */ (form.querySelector('input'));
const panel = document.createElement('div');
panel.className = 'found';
panel.hidden = true;
const said = document.createElement('p');
said.className = 'hidden';
said.setAttribute('role', 'status');
form.append(panel, said);

/** What was typed last; an answer to anything before it comes too late. */
let asked = '';
let timer = 0;

/** Takes what the page of the search shows. @param {string} q */
async function show(q) {
  const answer = await fetch(`/office/find?q=${encodeURIComponent(q)}`, { redirect: 'manual' }).catch(() => null);
  // Whoever was signed out meanwhile learns it from the page itself.
  if (q !== asked) return;
  if (!answer?.ok) {
    panel.hidden = true;
    return;
  }
  const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
  if (q !== asked) return;
  const found = page.querySelectorAll('.cards a').length;
  const cards = page.querySelector('.cards');
  panel.replaceChildren(...(found > 0 && cards ? [document.importNode(cards, true)] : []));
  panel.hidden = found === 0;
  said.textContent = found === 0 ? 'Nothing is found.' : `${found} found, below the field.`;
}

field.addEventListener('input', () => {
  clearTimeout(timer);
  asked = field.value.trim();
  if (asked.length < 2) panel.hidden = true;
  else timer = setTimeout(() => show(asked), 180);
});
form.addEventListener('keydown', (event) => {
  if (event.key !== 'Escape' || panel.hidden) return;
  // The first press closes what is shown; the browser's own would empty the field.
  event.preventDefault();
  panel.hidden = true;
  field.focus();
});
document.addEventListener('pointerdown', (event) => {
  if (!form.contains(/** @type {Node} */ (event.target))) panel.hidden = true;
});
form.addEventListener('focusout', (event) => {
  if (event.relatedTarget && !form.contains(/** @type {Node} */ (event.relatedTarget))) panel.hidden = true;
});
