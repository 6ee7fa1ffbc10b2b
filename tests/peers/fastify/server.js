// A plain server in Fastify and better-sqlite3, as its makers advise: one process, prepared statements, a schema on what comes in.
// `node server.js FILE PORT FINDINGS`
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import Database from 'better-sqlite3';
import Fastify from 'fastify';

const [file, port, findingsFile] = process.argv.slice(2);
const db = new Database(file);
for (const pragma of ['journal_mode = WAL', 'synchronous = FULL', 'foreign_keys = ON', 'mmap_size = 268435456']) db.pragma(pragma);
const findings = JSON.parse(readFileSync(findingsFile, 'utf8'));
const sha256 = (text) => createHash('sha256').update(text).digest('hex');
const q = (sql) => db.prepare(sql);

const byToken = q('SELECT p.id, p.name, p.role FROM tokens AS t JOIN people AS p ON p.id = t.person_id WHERE t.hash = ?');
const stored = q('SELECT fingerprint, content FROM applications WHERE id = ?');
const productOf = q('SELECT * FROM products WHERE id = ?');
const sectionOf = q('SELECT s.*, p.time_zone FROM sections AS s JOIN properties AS p ON p.id = s.property_id WHERE s.id = ? AND s.property_id = ?');
const yearOf = q('SELECT coalesce(sum(nitrogen * 100000 / area), 0) AS rate FROM application_lines WHERE section_id = ? AND applied_on BETWEEN ? AND ?');
const addRecord = q('INSERT INTO applications (id, property_id, product_id, person_id, applied_on, received_at, verdict, content, fingerprint) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)');
const addDecision = q('INSERT INTO decisions VALUES (?, ?)');
const addLine = q('INSERT INTO application_lines (application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)');
const addMovement = q('INSERT INTO stock_movements (product_id, mass, application_id, moved_on) VALUES (?, ?, ?, ?)');
const takeStock = q('UPDATE stock_totals SET mass = mass - ? WHERE product_id = ?');
const head = q('SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1');
const addEntry = q('INSERT INTO journal VALUES (?, ?, ?, ?, ?, ?, ?, ?)');
const property = q('SELECT * FROM properties WHERE id = ?');
const newest = q('SELECT content FROM applications ORDER BY seq DESC LIMIT ?');
const client = q('SELECT * FROM clients WHERE id = ?');
const clientSections = q('SELECT s.*, p.address FROM properties AS p JOIN sections AS s ON s.property_id = p.id WHERE p.client_id = ? ORDER BY p.rowid, s.rowid');
const clientLines = q(`SELECT l.*, a.verdict, r.name AS product_name, r.grade, w.name AS applied_by FROM properties AS p JOIN sections AS s ON s.property_id = p.id
  JOIN application_lines AS l ON l.section_id = s.id JOIN applications AS a ON a.id = l.application_id JOIN products AS r ON r.id = a.product_id
  JOIN people AS w ON w.id = a.person_id WHERE p.client_id = ? AND l.applied_on BETWEEN ? AND ? ORDER BY l.applied_on, l.seq`);
const year = q(`SELECT c.id AS client_id, c.name AS client_name, p.address, p.id AS property_id, s.id AS section_id, s.name AS section_name, s.cap,
  coalesce(sum(l.nitrogen * 100000 / l.area), 0) AS nitrogen, coalesce(sum(l.quick_nitrogen * 100000 / l.area), 0) AS quick,
  coalesce(sum(l.phosphate * 100000 / l.area), 0) AS phosphate, coalesce(sum(l.potash * 100000 / l.area), 0) AS potash
  FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id
  LEFT JOIN application_lines AS l ON l.section_id = s.id AND l.applied_on BETWEEN ? AND ? GROUP BY s.id`);

const pounds = (millionths) => String(millionths / 1e6);
const delivers = (line) => ({ nitrogen_lb: pounds(line.nitrogen), quick_nitrogen_lb: pounds(line.quick_nitrogen), phosphate_lb: pounds(line.phosphate), potash_lb: pounds(line.potash) });
const rate = (mass, area) => Math.floor((mass * 100000) / area);

class Refused extends Error {
  constructor(status, detail, more = {}) {
    super(detail);
    Object.assign(this, { statusCode: status, more });
  }
}

const record = db.transaction((id, body, person, fingerprint) => {
  const known = stored.get(id);
  if (known) {
    if (known.fingerprint !== fingerprint) throw new Refused(409, 'Another record has this id.');
    return [200, known.content];
  }
  const product = productOf.get(body.product_id);
  if (!product) throw new Refused(422, 'No such product.');
  const received = new Date().toISOString();
  let day;
  const judged = [];
  const lines = body.lines.map((line) => {
    const section = sectionOf.get(line.section_id, body.property_id);
    if (!section) throw new Refused(422, 'No such section.');
    day ??= dayIn(section.time_zone).format(new Date(body.started_at));
    const mass = Math.round(Number(line.product_lb) * 1e6);
    const of = (part) => Math.round((mass * part) / 10000);
    const made = { section_id: section.id, area: section.area, product: mass, nitrogen: of(product.nitrogen), quick_nitrogen: of(product.nitrogen - product.slow_nitrogen), phosphate: of(product.phosphate), potash: of(product.potash) };
    const before = yearOf.get(section.id, `${day.slice(0, 4)}-01-01`, `${day.slice(0, 4)}-12-31`).rate;
    const after = before + rate(made.nitrogen, section.area);
    if (after > section.cap && !body.acknowledged?.length) throw new Refused(422, 'The cap of the year is passed.', { limit: pounds(section.cap), actual: pounds(after) });
    judged.push({ section_id: section.id, limit: pounds(section.cap), before: pounds(before), after: pounds(after) });
    return made;
  });
  const told = lines.map((line) => ({ section_id: line.section_id, area_sqft: String(line.area / 100), product_lb: pounds(line.product), delivers: delivers(line), nitrogen_lb_per_1000_sqft: pounds(rate(line.nitrogen, line.area)) }));
  const content = JSON.stringify({ id, ...body, person_id: person.id, person_name: person.name, applied_on: day, verdict: 'care', lines: told, received_at: received });
  const decision = JSON.stringify({ decided_at: received, verdict: 'care', sections: judged, findings });
  addRecord.run(id, body.property_id, body.product_id, person.id, day, received, 'care', content, fingerprint);
  addDecision.run(id, decision);
  for (const line of lines) {
    addLine.run(id, line.section_id, day, line.area, line.product, line.nitrogen, line.quick_nitrogen, line.phosphate, line.potash);
    addMovement.run(body.product_id, -line.product, id, day);
    takeStock.run(line.product, body.product_id);
  }
  const last = head.get() ?? { seq: 0, hash: '0'.repeat(64) };
  // The journal tells the whole: the record, and what was decided of it.
  const payload = `{"record":${content},"decision":${decision}}`;
  const seq = last.seq + 1;
  const hash = sha256(`${seq}\n${received}\n${person.id}\napplication.recorded\n${id}\n${payload}\n${last.hash}`);
  addEntry.run(seq, received, person.id, 'application.recorded', id, payload, last.hash, hash);
  return [201, content];
});
// A formatter costs more to make than the rest of a request.
const zones = new Map();
function dayIn(timeZone) {
  if (!zones.has(timeZone)) zones.set(timeZone, new Intl.DateTimeFormat('en-CA', { timeZone, year: 'numeric', month: '2-digit', day: '2-digit' }));
  return zones.get(timeZone);
}

const text = { type: 'string', minLength: 1, maxLength: 2000 };
const id = { type: 'string', format: 'uuid' };
const instant = { type: 'string', format: 'date-time' };
const ApplicationInput = {
  type: 'object', additionalProperties: false,
  required: ['property_id', 'product_id', 'started_at', 'finished_at', 'purpose', 'equipment', 'ground', 'pavement_cleaned', 'lines'],
  properties: {
    property_id: id, product_id: id, lot_id: id, visit_id: id, equipment_id: id, started_at: instant, finished_at: instant, phone_started_at: instant,
    phone_finished_at: instant, sent_at: instant, purpose: text, equipment: text, ground: text, pavement_cleaned: { type: 'boolean' }, notes: text,
    weather: { type: 'object' }, seen: { type: 'object' }, acknowledged: { type: 'array', items: text, maxItems: 200 },
    lines: { type: 'array', minItems: 1, maxItems: 20, items: { type: 'object', required: ['section_id', 'product_lb'], additionalProperties: false, properties: { section_id: id, product_lb: { type: 'string', pattern: '^[0-9]{1,6}(\\.[0-9]{1,6})?$' } } } },
  },
};

const app = Fastify({ logger: false, bodyLimit: 1 << 20 });
app.addHook('onRequest', async (request) => {
  const token = request.headers.authorization?.match(/^Bearer (.+)$/)?.[1];
  request.person = token && byToken.get(sha256(token));
  if (!request.person) throw new Refused(401, 'Sign in first.');
});
app.setErrorHandler((error, _, reply) => reply.code(error.statusCode ?? 500).type('application/problem+json').send({ title: error.message, status: error.statusCode ?? 500, ...error.more }));

app.put('/api/v1/applications/:id', { schema: { params: { type: 'object', properties: { id } }, body: ApplicationInput } }, (request, reply) => {
  const [status, content] = record.immediate(request.params.id, request.body, request.person, sha256(JSON.stringify(request.body)));
  reply.code(status).type('application/json').send(content);
});
app.get('/api/v1/properties/:id', (request, reply) => {
  const row = property.get(request.params.id);
  if (!row) throw new Refused(404, 'No such property.');
  reply.send({ ...row, rule_sets: JSON.parse(row.rule_sets), created_at: new Date(row.created_at).toISOString() });
});
app.get('/api/v1/applications', (request, reply) => {
  const items = newest.all(Math.min(Number(request.query.limit ?? 50), 200)).map((row) => JSON.parse(row.content));
  reply.send({ items, next_cursor: null });
});
app.get('/api/v1/statements', (request, reply) => {
  const { client_id, year: of } = request.query;
  const about = client.get(client_id);
  if (!about) throw new Refused(404, 'No such client.');
  const total = { nitrogen: 0, quick_nitrogen: 0, phosphate: 0, potash: 0 };
  const sections = new Map(clientSections.all(client_id).map((row) => [row.id, { row, sum: { nitrogen: 0, quick_nitrogen: 0, phosphate: 0, potash: 0 }, nitrogen: 0, lines: [] }]));
  for (const line of clientLines.all(client_id, `${of}-01-01`, `${of}-12-31`)) {
    const section = sections.get(line.section_id);
    for (const part of Object.keys(total)) {
      total[part] += line[part];
      section.sum[part] += line[part];
    }
    section.nitrogen += rate(line.nitrogen, line.area);
    section.lines.push({ application_id: line.application_id, applied_on: line.applied_on, product_name: line.product_name, grade: line.grade, area_sqft: String(line.area / 100), product_lb: pounds(line.product), delivers: delivers(line), nitrogen_lb_per_1000_sqft: pounds(rate(line.nitrogen, line.area)), applied_by: line.applied_by });
  }
  reply.send({
    year: Number(of), client_id, client_name: about.name, mailing_address: about.mailing_address, total: delivers(total),
    sections: [...sections.values()].map(({ row, sum, nitrogen, lines }) => ({
      section_id: row.id, section_name: row.name, property_id: row.property_id, address: row.address, species: row.species, area_sqft: String(row.area / 100),
      area_measured_on: row.measured_on, soil_sampled_on: row.sampled_on, cap: pounds(row.cap), applied: delivers(sum), nitrogen_lb_per_1000_sqft: pounds(nitrogen),
      remaining_nitrogen_lb_per_1000_sqft: pounds(row.cap - nitrogen), percent_of_cap: Math.floor((nitrogen * 100) / row.cap), lines,
    })),
  });
});
app.get('/api/v1/statements/company', (request, reply) => {
  const of = request.query.year;
  const sections = year.all(`${of}-01-01`, `${of}-12-31`).map((row) => ({
    client_id: row.client_id, client_name: row.client_name, address: row.address, property_id: row.property_id, section_id: row.section_id, section_name: row.section_name,
    cap: pounds(row.cap), nitrogen_lb_per_1000_sqft: pounds(row.nitrogen), quick_nitrogen_lb_per_1000_sqft: pounds(row.quick), phosphate_lb_per_1000_sqft: pounds(row.phosphate),
    potash_lb_per_1000_sqft: pounds(row.potash), remaining_nitrogen_lb_per_1000_sqft: pounds(row.cap - row.nitrogen),
  }));
  reply.send({ year: Number(of), sections });
});
await app.listen({ host: '127.0.0.1', port: Number(port) });
