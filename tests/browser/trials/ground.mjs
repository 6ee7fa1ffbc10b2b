// @ts-check
// What the ground says against the work stays said, whatever the server answers.

import { arrive, enrol, openStops, phone } from '../walk.mjs';

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
  await page.getByText('Take care: the ground.').waitFor();
  await warning.waitFor();
  await page.getByText('The answer above did not know the ground.').waitFor({ state: 'detached' });
  await page.getByRole('button', { name: 'Start all the same' }).waitFor();
  await context.close();
}
