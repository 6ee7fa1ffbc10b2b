// @ts-check
// How much of each section is still open, and which of its parts: what the server told with the day, and the records of this
// phone since.

/** @typedef {{ section_id: string, treated_area_sqft?: string, parts?: string[], product_lb: string }} Line */
/** @typedef {{ name: string, area: number, done: boolean }} Part */
/** @typedef {{ section: any, area: number | null, open: number | null, touched: boolean, parts: Part[], rest: string[] | null }} Ground how much of a section is still open, in square feet, null where it was never measured and has no record; its parts; and the names of those that are just what is open */

/** Square feet as people read them. @param {number} area */
export const squareFeet = (area) => `${(Math.round(area * 100) / 100).toLocaleString('en-US')} sq ft`;

/** The area of some parts together; areas come in hundredths. @param {Part[]} parts */
export const together = (parts) => Math.round(parts.reduce((sum, part) => sum + part.area, 0) * 100) / 100;

/**
 * @param {any} stop @param {Line[][]} since lines of records that the day does not count yet @returns {Ground[]}
 */
export function groundsOf(stop, since) {
  return stop.sections.map((/** @type {any} */ section) => {
    const area = section.area_sqft === null ? null : Number(section.area_sqft);
    const told = (stop.recorded_sections ?? []).find((/** @type {any} */ one) => one.section_id === section.id);
    // A day of an older version says only whether any record came in.
    const done = stop.visit.status === 'done' || stop.recorded;
    // More than the whole section is never open, whatever was measured meanwhile: the amount is reckoned by it.
    const before = done ? 0 : told ? Math.min(Number(told.open_area_sqft ?? 0), area ?? Infinity) : area;
    const lines = since.flat().filter((line) => line.section_id === section.id);
    const divided = (stop.divisions ?? []).find((/** @type {any} */ one) => one.section_id === section.id)?.parts ?? [];
    const recorded = new Set([...(told?.parts ?? []), ...lines.filter((line) => line.treated_area_sqft === undefined).flatMap((line) => line.parts ?? [])]);
    /** @type {Part[]} */
    const parts = divided.map((/** @type {any} */ part) => ({ name: part.name, area: Number(part.area_sqft), done: recorded.has(part.name) }));
    // A part that the section has no more, since the office divided it anew, may be any ground: it counts as the whole, because
    // what is wrongly open invites to treat it twice.
    const named = (/** @type {string[]} */ names) => (names.every((name) => parts.some((part) => part.name === name)) ? together(parts.filter((part) => names.includes(part.name))) : Infinity);
    const covers = (/** @type {Line} */ line) => Number(line.treated_area_sqft ?? (line.parts ? named(line.parts) : Infinity));
    const open = lines.length === 0 ? before : Math.max(0, (before ?? 0) - lines.reduce((sum, line) => sum + covers(line), 0));
    const touched = done || told !== undefined || lines.length > 0;
    return { section, area, open, touched, parts, rest: restOf(parts, open, touched) };
  });
}

/** The parts that are just the ground that is open, where it can be said so. @param {Part[]} parts @param {number | null} open @param {boolean} touched */
function restOf(parts, open, touched) {
  const left = parts.filter((part) => !part.done);
  return touched && left.length > 0 && left.length < parts.length && open !== null && Math.abs(together(left) - open) < 0.005 ? left.map((part) => part.name) : null;
}

/** Sections that are still to be treated, or all where none is: what is done beyond the plan is recorded too. @param {Ground[]} grounds */
export const openGrounds = (grounds) => (grounds.some((one) => one.open !== 0) ? grounds.filter((one) => one.open !== 0) : grounds);

/** What is open of a section of which something is recorded. @param {Ground} ground */
export const leftOf = ({ open, rest }) => (rest === null ? squareFeet(open ?? 0) : `${rest.join(', ')}, ${squareFeet(open ?? 0)}`);

/** What is still open, in words. @param {Ground[]} grounds */
export const openWords = (grounds) =>
  grounds.filter((one) => one.open !== 0).map((one) => (one.touched && one.open !== null ? `${leftOf(one)} of the ${one.section.name}` : `the ${one.section.name}`)).join(', ');
