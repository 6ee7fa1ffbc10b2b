// @ts-check
// What the ground says against the work stays said, whatever the server answers; what is measured before the start is asked with.

import assert from 'node:assert/strict';

import { added, allSent, arrive, enrol, openStops, phone, see, treatAll } from '../walk.mjs';
import { stopOf, stopUnder } from './record.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** The phone's own warning of soaked ground stands before and after the server has answered, and there is no plain Start. @param {World} world */
export async function soakedGroundStaysSaid(world) {
  const context = await phone(world, 'soaked');
  const page = await enrol(world, context);
  const warning = page.getByText('Nothing belongs on ground that is saturated: it runs off.');
  await arrive(page, openStops(page).first());
  await context.setOffline(true);
  await page.getByRole('button', { name: 'Saturated' }).click();
  await page.getByText('The answer above did not know the ground.').waitFor();
  await warning.waitFor();
  await page.getByRole('button', { name: 'Start', exact: true }).waitFor({ state: 'detached' });
  // Maryland's law stops it; what the phone says for itself must not hang on that.
  await page.route('**/api/v1/checks', async (route) => {
    const reply = await route.fetch();
    const body = await reply.json();
    await route.fulfill({ response: reply, json: { ...body, decision: { ...body.decision, verdict: 'care', summary: 'Take care: the ground.' } } });
  });
  await context.setOffline(false);
  await page.getByRole('button', { name: 'Moist' }).click();
  await warning.waitFor({ state: 'detached' });
  await page.getByRole('button', { name: 'Saturated' }).click();
  if ((await page.locator('fieldset', { hasText: 'With' }).locator('[aria-pressed=true]').count()) === 0) await page.getByRole('button', { name: 'Rotary spreader with deflector' }).click();
  await page.locator('.verdict', { hasText: 'Take care: the ground.' }).waitFor();
  await warning.waitFor();
  await page.getByText('The answer above did not know the ground.').waitFor({ state: 'detached' });
  await page.getByRole('button', { name: 'Start all the same' }).waitFor();
  await context.close();
}

/**
 * Nothing is known of the weather where no service is asked: what somebody measures is asked with at once, also by Enter alone, is
 * told where it is no number, and stands on the record with the time of its measuring.
 * @param {World} world
 */
export async function windIsMeasuredFirst(world) {
  const { visit } = await stopUnder(world, 'us-va');
  const context = await phone(world, 'measured');
  const page = await enrol(world, context);
  const known = new Set(await added(world));
  await arrive(page, stopOf(page, visit));
  await see(page);
  const fold = page.getByText('Wind and temperature here, if you measured them');
  if (await fold.isVisible()) await fold.click();
  await page.locator('#mph').fill('six');
  await page.locator('#mph').press('Tab');
  await page.getByText('The wind speed must be a number of miles an hour, such as 6.').first().waitFor();
  assert.equal(await page.getByRole('button', { name: 'Start', exact: true }).isDisabled(), true, 'what is no number is mended first');
  await page.locator('#mph').fill('6');
  await page.locator('#mph').press('Tab');
  const question = page.waitForRequest((request) => request.url().endsWith('/api/v1/checks') && (request.postDataJSON().weather.air_temperature ?? null) !== null);
  await page.locator('#air').fill('68.5');
  await page.locator('#air').press('Enter');
  const { weather } = (await question).postDataJSON();
  assert.notEqual(weather.wind.observed_at, weather.air_temperature.observed_at, 'each has its own time');
  assert.equal(weather.wind.wind_mph, '6');
  assert.equal(weather.air_temperature.air_temperature_f, '68.5');
  await page.getByText('Answered by the office\'s server').waitFor();
  await page.getByText('Nothing is known of the weather').waitFor({ state: 'detached' });
  assert.equal(await page.locator('#mph').inputValue(), '6', 'what was typed stands after the answer');
  await page.getByRole('button', { name: 'Start', exact: true }).click();
  await page.getByRole('button', { name: 'Finish' }).click();
  await treatAll(page);
  await page.getByRole('button', { name: 'Yes' }).click();
  await page.getByRole('button', { name: 'Overcast' }).click();
  await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('heading', { name: /September 15/ }).waitFor();
  await allSent(page);
  const [id] = (await added(world)).filter((one) => !known.has(one));
  const record = await world.book.owner('GET', `/api/v1/applications/${id}`, undefined, 200);
  const { wind, air_temperature: air } = record.weather;
  assert.equal(wind.wind_mph, '6');
  assert.equal(air.air_temperature_f, '68.5');
  assert.equal(Date.parse(wind.observed_at), Date.parse(weather.wind.observed_at), 'the record has the time of the measuring');
  assert.ok(Date.parse(wind.observed_at) < Date.parse(record.started_at));
  await context.close();
}

/**
 * While a wind is typed or asked about, what stood there answers another question: the foot says so, and Start begins nothing. A reply
 * that comes late does not take the place of a newer one.
 * @param {World} world
 */
export async function anotherWindStartsNothing(world) {
  const { visit } = await stopUnder(world, 'us-va');
  const context = await phone(world, 'another-wind');
  const page = await enrol(world, context);
  await arrive(page, stopOf(page, visit));
  await see(page);
  await page.getByText('Answered by the office\'s server').waitFor();
  /** @type {Map<string, () => void>} */
  const waiting = new Map();
  await page.route('**/api/v1/checks', async (route) => {
    const wind = route.request().postDataJSON().weather.wind?.wind_mph ?? '';
    await new Promise((resolve) => void waiting.set(wind, () => resolve(undefined)));
    await route.continue().catch(() => undefined);
  });
  const foot = page.locator('.foot .state');
  const fold = page.getByText('Wind and temperature here, if you measured them');
  if (await fold.isVisible()) await fold.click();
  const asked = async (/** @type {string} */ wind) => {
    while (!waiting.has(wind)) await page.waitForTimeout(20);
  };
  await page.locator('#mph').fill('6');
  assert.equal(await foot.textContent(), '▲ Not asked yet with what you typed.');
  await page.getByRole('button', { name: 'Start', exact: true }).click();
  await asked('6');
  assert.equal(await page.getByRole('button', { name: 'Finish' }).count(), 0, 'the work is not begun by an answer to another wind');
  await page.locator('#mph').fill('31');
  await page.locator('#mph').press('Tab');
  await asked('31');
  waiting.get('31')?.();
  await page.getByText('Answered by the office\'s server').waitFor();
  const said = await foot.textContent();
  assert.notEqual(said, '▲ Not asked yet with what you typed.');
  const late = page.waitForResponse((response) => response.url().endsWith('/api/v1/checks') && response.request().postDataJSON().weather.wind.wind_mph === '6');
  waiting.get('6')?.();
  await late;
  await page.waitForTimeout(300);
  assert.equal(await foot.textContent(), said, 'a late reply changes nothing');
  assert.equal(await page.getByText('Answered by the office\'s server').count(), 1);
  await context.close();
}
