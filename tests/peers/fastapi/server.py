"""A plain server in FastAPI and SQLAlchemy, as their makers advise: plain functions in the pool of threads, one process.

    uvicorn server:app, with BOOK and FINDINGS in the environment
"""

import hashlib
import json
import os
import threading
from datetime import datetime, timezone
from typing import Annotated, Any
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import Depends, FastAPI, Header, HTTPException, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import create_engine, event, text
from sqlalchemy.engine import Connection

FINDINGS = json.load(open(os.environ["FINDINGS"]))
# One writes at a time: SQLite's own way to wait for the turn is to sleep and try again, which some never win.
WRITING = threading.Lock()
# A request holds its connection while it waits for a thread, so that fewer than there are callers would wait for each other.
engine = create_engine(f"sqlite:///{os.environ['BOOK']}", pool_size=128)


@event.listens_for(engine, "connect")
def opened(connection, _):
    # SQLAlchemy begins transactions here, not the driver, which would begin a write as a read.
    connection.isolation_level = None
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "mmap_size = 268435456"):
        connection.execute(f"PRAGMA {pragma}")


@event.listens_for(engine, "begin")
def begun(connection: Connection):
    immediate = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


def sha256(of: str) -> str:
    return hashlib.sha256(of.encode()).hexdigest()


def reader():
    with engine.connect() as connection:
        yield connection


Reader = Annotated[Connection, Depends(reader)]
BY_TOKEN = text("SELECT p.id, p.name, p.role FROM tokens AS t JOIN people AS p ON p.id = t.person_id WHERE t.hash = :hash")


def person(connection: Reader, authorization: Annotated[str, Header()] = ""):
    found = connection.execute(BY_TOKEN, {"hash": sha256(authorization.removeprefix("Bearer "))}).mappings().first()
    if found is None:
        raise HTTPException(401, "Sign in first.")
    return found


Person = Annotated[Any, Depends(person)]


class Line(BaseModel):
    model_config = ConfigDict(extra="forbid")
    section_id: UUID
    product_lb: str = Field(pattern=r"^[0-9]{1,6}(\.[0-9]{1,6})?$")


Text = Annotated[str, Field(min_length=1, max_length=2000)]


class ApplicationInput(BaseModel):
    model_config = ConfigDict(extra="forbid")
    property_id: UUID
    product_id: UUID
    lot_id: UUID | None = None
    visit_id: UUID | None = None
    equipment_id: UUID | None = None
    started_at: datetime
    finished_at: datetime
    phone_started_at: datetime | None = None
    phone_finished_at: datetime | None = None
    sent_at: datetime | None = None
    purpose: Text
    equipment: Text
    ground: Text
    pavement_cleaned: bool
    notes: Text | None = None
    weather: dict[str, Any] = {}
    seen: dict[str, Any] | None = None
    acknowledged: list[Text] = Field([], max_length=200)
    lines: list[Line] = Field(min_length=1, max_length=20)


app = FastAPI()
STORED = text("SELECT fingerprint, content FROM applications WHERE id = :id")
PRODUCT = text("SELECT * FROM products WHERE id = :id")
SECTION = text(
    "SELECT s.*, p.time_zone FROM sections AS s JOIN properties AS p ON p.id = s.property_id"
    " WHERE s.id = :section AND s.property_id = :property"
)
YEAR_OF = text(
    "SELECT coalesce(sum(nitrogen * 100000 / area), 0) FROM application_lines"
    " WHERE section_id = :section AND applied_on BETWEEN :since AND :until"
)
ADD_RECORD = text(
    "INSERT INTO applications (id, property_id, product_id, person_id, applied_on, received_at, verdict, content, fingerprint)"
    " VALUES (:id, :property_id, :product_id, :person_id, :applied_on, :received_at, 'care', :content, :fingerprint)"
)
ADD_DECISION = text("INSERT INTO decisions VALUES (:id, :body)")
ADD_LINE = text(
    "INSERT INTO application_lines"
    " (application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash) VALUES"
    " (:application_id, :section_id, :applied_on, :area, :product, :nitrogen, :quick_nitrogen, :phosphate, :potash)"
)
ADD_MOVEMENT = text(
    "INSERT INTO stock_movements (product_id, mass, application_id, moved_on) VALUES (:product_id, :mass, :id, :applied_on)"
)
TAKE_STOCK = text("UPDATE stock_totals SET mass = mass + :mass WHERE product_id = :product_id")
HEAD = text("SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1")
ADD_ENTRY = text("INSERT INTO journal VALUES (:seq, :at, :person, 'application.recorded', :id, :payload, :previous, :hash)")


def pounds(millionths: int) -> str:
    return f"{millionths / 1e6:.6f}".rstrip("0").rstrip(".")


def rate(mass: int, area: int) -> int:
    return mass * 100000 // area


def delivers(line) -> dict[str, str]:
    return {f"{part}_lb": pounds(line[part]) for part in ("nitrogen", "quick_nitrogen", "phosphate", "potash")}


def judge(connection: Connection, body: ApplicationInput, product, line: Line):
    """What a line delivers, and what of the cap it leaves."""
    found = connection.execute(SECTION, {"section": str(line.section_id), "property": str(body.property_id)}).mappings().first()
    if found is None:
        raise HTTPException(422, "No such section.")
    day = body.started_at.astimezone(ZoneInfo(found["time_zone"])).date().isoformat()
    mass = round(float(line.product_lb) * 1e6)
    of = lambda part: round(mass * part / 10000)
    made = {
        "section_id": found["id"], "applied_on": day, "area": found["area"], "product": mass, "nitrogen": of(product["nitrogen"]),
        "quick_nitrogen": of(product["nitrogen"] - product["slow_nitrogen"]), "phosphate": of(product["phosphate"]),
        "potash": of(product["potash"]),
    }
    year = {"section": found["id"], "since": f"{day[:4]}-01-01", "until": f"{day[:4]}-12-31"}
    before = connection.execute(YEAR_OF, year).scalar_one()
    after = before + rate(made["nitrogen"], found["area"])
    if after > found["cap"] and not body.acknowledged:
        raise HTTPException(422, {"detail": "The cap of the year is passed.", "limit": pounds(found["cap"]), "actual": pounds(after)})
    told = {"section_id": found["id"], "limit": pounds(found["cap"]), "before": pounds(before), "after": pounds(after)}
    return made, told


def write(connection: Connection, id: str, body: ApplicationInput, who, fingerprint: str) -> tuple[int, str]:
    known = connection.execute(STORED, {"id": id}).mappings().first()
    if known is not None:
        if known["fingerprint"] != fingerprint:
            raise HTTPException(409, "Another record has this id.")
        return 200, known["content"]
    product = connection.execute(PRODUCT, {"id": str(body.product_id)}).mappings().first()
    if product is None:
        raise HTTPException(422, "No such product.")
    received = datetime.now(timezone.utc).isoformat(timespec="milliseconds")
    lines, judged = zip(*[judge(connection, body, product, line) for line in body.lines])
    day = lines[0]["applied_on"]
    told = [
        {
            "section_id": line["section_id"], "area_sqft": str(line["area"] / 100), "product_lb": pounds(line["product"]),
            "delivers": delivers(line), "nitrogen_lb_per_1000_sqft": pounds(rate(line["nitrogen"], line["area"])),
        }
        for line in lines
    ]
    plain = body.model_dump(mode="json", exclude_unset=True)
    record = {
        "id": id, **plain, "person_id": who["id"], "person_name": who["name"], "applied_on": day, "verdict": "care",
        "lines": told, "received_at": received,
    }
    compact = lambda value: json.dumps(value, separators=(",", ":"))
    content = compact(record)
    decision = compact({"decided_at": received, "verdict": "care", "sections": judged, "findings": FINDINGS})
    row = {
        "id": id, "property_id": plain["property_id"], "product_id": plain["product_id"], "person_id": who["id"],
        "applied_on": day, "received_at": received, "content": content, "fingerprint": fingerprint,
    }
    connection.execute(ADD_RECORD, row)
    connection.execute(ADD_DECISION, {"id": id, "body": decision})
    for line in lines:
        connection.execute(ADD_LINE, {"application_id": id, **line})
        moved = {"product_id": plain["product_id"], "mass": -line["product"], "id": id, "applied_on": day}
        connection.execute(ADD_MOVEMENT, moved)
        connection.execute(TAKE_STOCK, moved)
    last = connection.execute(HEAD).first()
    seq, previous = (last.seq + 1, last.hash) if last else (1, "0" * 64)
    # The journal tells the whole: the record, and what was decided of it.
    payload = f'{{"record":{content},"decision":{decision}}}'
    hash = sha256(f"{seq}\n{received}\n{who['id']}\napplication.recorded\n{id}\n{payload}\n{previous}")
    entry = {"seq": seq, "at": received, "person": who["id"], "id": id, "payload": payload, "previous": previous, "hash": hash}
    connection.execute(ADD_ENTRY, entry)
    return 201, content


@app.put("/api/v1/applications/{id}")
def put_application(id: UUID, body: ApplicationInput, who: Person, connection: Reader):
    fingerprint = sha256(body.model_dump_json())
    # Who asks was looked up in a transaction of its own, which is over.
    connection.rollback()
    connection.execution_options(writes=True)
    with WRITING, connection.begin():
        status, content = write(connection, str(id), body, who, fingerprint)
    return Response(content, status, media_type="application/json")


@app.get("/api/v1/properties/{id}")
def get_property(id: UUID, who: Person, connection: Reader):
    row = connection.execute(text("SELECT * FROM properties WHERE id = :id"), {"id": str(id)}).mappings().first()
    if row is None:
        raise HTTPException(404, "No such property.")
    created = datetime.fromtimestamp(row["created_at"] / 1000, timezone.utc).isoformat()
    return {**row, "rule_sets": json.loads(row["rule_sets"]), "created_at": created}


@app.get("/api/v1/applications")
def list_applications(who: Person, connection: Reader, limit: Annotated[int, Field(le=200)] = 50):
    newest = connection.execute(text("SELECT content FROM applications ORDER BY seq DESC LIMIT :limit"), {"limit": limit})
    return {"items": [json.loads(content) for content in newest.scalars()], "next_cursor": None}


CLIENT = text("SELECT * FROM clients WHERE id = :client")
CLIENT_SECTIONS = text(
    "SELECT s.*, p.address FROM properties AS p JOIN sections AS s ON s.property_id = p.id WHERE p.client_id = :client"
    " ORDER BY p.rowid, s.rowid"
)
CLIENT_LINES = text(
    "SELECT l.*, a.verdict, r.name AS product_name, r.grade, w.name AS applied_by FROM properties AS p"
    " JOIN sections AS s ON s.property_id = p.id JOIN application_lines AS l ON l.section_id = s.id"
    " JOIN applications AS a ON a.id = l.application_id JOIN products AS r ON r.id = a.product_id"
    " JOIN people AS w ON w.id = a.person_id"
    " WHERE p.client_id = :client AND l.applied_on BETWEEN :since AND :until ORDER BY l.applied_on, l.seq"
)
COMPANY_YEAR = text(
    "SELECT c.id AS client_id, c.name AS client_name, p.address, p.id AS property_id, s.id AS section_id, s.name AS section_name,"
    " s.cap, coalesce(sum(l.nitrogen * 100000 / l.area), 0) AS nitrogen,"
    " coalesce(sum(l.quick_nitrogen * 100000 / l.area), 0) AS quick,"
    " coalesce(sum(l.phosphate * 100000 / l.area), 0) AS phosphate, coalesce(sum(l.potash * 100000 / l.area), 0) AS potash"
    " FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id"
    " LEFT JOIN application_lines AS l ON l.section_id = s.id AND l.applied_on BETWEEN :since AND :until GROUP BY s.id"
)


@app.get("/api/v1/statements")
def get_statement(client_id: UUID, year: int, who: Person, connection: Reader):
    asked = {"client": str(client_id), "since": f"{year}-01-01", "until": f"{year}-12-31"}
    about = connection.execute(CLIENT, asked).mappings().first()
    if about is None:
        raise HTTPException(404, "No such client.")
    parts = ("nitrogen", "quick_nitrogen", "phosphate", "potash")
    total = dict.fromkeys(parts, 0)
    sections = {
        row["id"]: {"row": row, "sum": dict.fromkeys(parts, 0), "nitrogen": 0, "lines": []}
        for row in connection.execute(CLIENT_SECTIONS, asked).mappings()
    }
    for line in connection.execute(CLIENT_LINES, asked).mappings():
        section = sections[line["section_id"]]
        for part in parts:
            total[part] += line[part]
            section["sum"][part] += line[part]
        section["nitrogen"] += rate(line["nitrogen"], line["area"])
        section["lines"].append({
            "application_id": line["application_id"], "applied_on": line["applied_on"], "product_name": line["product_name"],
            "grade": line["grade"], "area_sqft": str(line["area"] / 100), "product_lb": pounds(line["product"]),
            "delivers": delivers(line), "nitrogen_lb_per_1000_sqft": pounds(rate(line["nitrogen"], line["area"])),
            "applied_by": line["applied_by"],
        })
    told = []
    for section in sections.values():
        row, nitrogen = section["row"], section["nitrogen"]
        told.append({
            "section_id": row["id"], "section_name": row["name"], "property_id": row["property_id"], "address": row["address"],
            "species": row["species"], "area_sqft": str(row["area"] / 100), "area_measured_on": row["measured_on"],
            "soil_sampled_on": row["sampled_on"], "cap": pounds(row["cap"]), "applied": delivers(section["sum"]),
            "nitrogen_lb_per_1000_sqft": pounds(nitrogen), "remaining_nitrogen_lb_per_1000_sqft": pounds(row["cap"] - nitrogen),
            "percent_of_cap": nitrogen * 100 // row["cap"], "lines": section["lines"],
        })
    return {
        "year": year, "client_id": about["id"], "client_name": about["name"], "mailing_address": about["mailing_address"],
        "total": delivers(total), "sections": told,
    }


class SectionSum(BaseModel):
    client_id: str
    client_name: str
    address: str
    property_id: str
    section_id: str
    section_name: str
    cap: str
    nitrogen_lb_per_1000_sqft: str
    quick_nitrogen_lb_per_1000_sqft: str
    phosphate_lb_per_1000_sqft: str
    potash_lb_per_1000_sqft: str
    remaining_nitrogen_lb_per_1000_sqft: str


class CompanyYear(BaseModel):
    year: int
    sections: list[SectionSum]


@app.get("/api/v1/statements/company")
def get_company_year(year: int, who: Person, connection: Reader) -> CompanyYear:
    asked = {"since": f"{year}-01-01", "until": f"{year}-12-31"}
    sections = [
        SectionSum(
            client_id=row.client_id, client_name=row.client_name, address=row.address, property_id=row.property_id,
            section_id=row.section_id, section_name=row.section_name, cap=pounds(row.cap),
            nitrogen_lb_per_1000_sqft=pounds(row.nitrogen), quick_nitrogen_lb_per_1000_sqft=pounds(row.quick),
            phosphate_lb_per_1000_sqft=pounds(row.phosphate), potash_lb_per_1000_sqft=pounds(row.potash),
            remaining_nitrogen_lb_per_1000_sqft=pounds(row.cap - row.nitrogen),
        )
        for row in connection.execute(COMPANY_YEAR, asked)
    ]
    return CompanyYear(year=year, sections=sections)
