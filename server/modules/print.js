// @ts-check
// Prints the page. The button shows only where it can be pressed, in the place kept for it: without a script, the browser's own menu prints.

for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (document.querySelectorAll('button[data-print]'))) {
  button.addEventListener('click', () => print());
  button.classList.add('ready');
}
