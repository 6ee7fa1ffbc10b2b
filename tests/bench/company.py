"""Makes the book of an invented company over HTTP, as its people and phones would, and the questions that are asked of it.

A client has four properties with two lawn sections each, a section four records a year for six years and one before: so that
a client's statement of last year has 32 lines. Every record is whole: visit, lot, machine, weather, what was seen, a note.
"""

import json
import urllib.error
import urllib.request
from datetime import date, datetime, timedelta, timezone

RECORDS_A_SECTION = 25
SECTIONS_A_CLIENT = 8
ROUNDS = ((3, 20), (5, 5), (9, 1), (10, 10))
PASSWORD = "three plain words here"
# A state with many kinds of rules, all read as they stood since 2014. Its season is open on the days of all records, whenever the bench is run.
RULE_SET = "us-nj"
CERTIFICATE = {
    "name": "Certificate of the state", "number": "C-1", "issued_by": "The state", "rule_set": RULE_SET, "code": "us-nj-certified",
    "valid_from": "2010-01-01",
}


class Office:
    """One who asks a server now and then."""

    def __init__(self, address, token=None):
        self.address, self.token = address, token

    def post(self, path, body=None):
        headers = {"content-type": "application/json"}
        if self.token:
            headers["authorization"] = f"Bearer {self.token}"
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"http://{self.address}{path}", data, headers, method="POST")
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.loads(answer.read())
        except urllib.error.HTTPError as error:
            raise SystemExit(f"POST {path} answered {error.code}: {error.read().decode(errors='replace')}") from None


def instant(at):
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def record():
    """A record as a phone sends it, with gaps for the values of `row`."""
    return {
        "property_id": "<0>", "product_id": "<2>", "lot_id": "<3>", "visit_id": "<4>", "equipment_id": "<5>",
        "started_at": "<7>", "finished_at": "<8>", "phone_started_at": "<7>", "phone_finished_at": "<8>", "sent_at": "<11>",
        "purpose": "maintenance", "equipment": "rotary_spreader_with_deflector", "ground": "moist", "pavement_cleaned": True,
        "weather": {
            "air_temperature": {"air_temperature_f": "<9>", "source": "technician", "observed_at": "<7>"},
            "rain_forecast": [{"rain_in": "0.05", "hours": 24, "source": "technician", "issued_at": "<7>"}],
            "alerts": {"active": [], "source": "technician", "looked_at": "<7>"},
            "heavy_rain": {"falls": False, "source": "technician", "observed_at": "<7>"},
        },
        "seen": {
            "amount_measured_by": "weighed", "machine_setting": "gate M", "wind_from": "northwest", "sky": "clear",
            "no_label_instruction": True, "notices": [{"kind": "sign", "at": "<8>", "to": "public"}],
        },
        "notes": "Gate on the left was open.", "lines": [{"section_id": "<1>", "product_lb": "<10>"}],
    }


def row(state, number, start, product_lb):
    """The values of one record: the section by its number, who works there, and with what."""
    section = number % len(state["sections"])
    place = section // 2
    who, what = place % len(state["phones"]), place // 7 % len(state["products"])
    return [
        state["properties"][place], state["sections"][section], state["products"][what], state["lots"][what],
        state["visits"][place], state["machines"][who], state["phones"][who], instant(start),
        instant(start + timedelta(minutes=26)), f"{55 + number % 30}.5", product_lb, instant(datetime.now(timezone.utc)),
    ]


def past(state, number):
    """When the record of this number was made."""
    sections = len(state["sections"])
    section, turn = number % sections, number // sections
    # The one before all others lies in the autumn before the first whole year.
    year = state["year"] - 6 + (turn + 3) // 4
    month, day = ROUNDS[(turn + 3) % 4]
    minutes = 12 * 60 + section * 7 % 480
    return datetime(year, month, day, tzinfo=timezone.utc) + timedelta(days=section % 18, minutes=minutes)


def measured_day():
    """The start of what is measured: on the last 15 September, in every season of the year."""
    now = datetime.now(timezone.utc)
    day = now.replace(month=9, day=15, hour=14, minute=5, second=0)
    return day if day < now else day.replace(year=day.year - 1)


def make(load, address, code, records, tell):
    """Fills an empty book; answers everything that was made."""
    today = date.today()
    sign_in = {"name": "owner", "password": PASSWORD}
    Office(address).post("/api/v1/setup", {
        "setup_code": code, "company_name": "Demonstration Company", "time_zone": "America/New_York",
        "owner_name": "Owner 01", "sign_in": sign_in,
    })
    owner = Office(address, Office(address).post("/api/v1/sessions", sign_in)["token"])
    made = lambda path, body: owner.post(path, body)["id"]
    # The last whole year is asked for, so that what is measured does not change the answers.
    state = {"year": today.year - 1, "records": records, "owner": owner.token}
    state |= {name: [] for name in ("people", "phones", "products", "lots", "machines")}
    for number in range(1, 5):
        person = made("/api/v1/people", {"name": f"Tech {number:02}", "role": "technician"})
        enrolment = owner.post(f"/api/v1/people/{person}/enrolment-codes")["code"]
        made(f"/api/v1/people/{person}/credentials", CERTIFICATE)
        device = {"code": enrolment, "name": f"Phone of Tech {number:02}"}
        state["people"].append(person)
        state["phones"].append(Office(address).post("/api/v1/devices", device)["token"])
        spreader = {"name": f"Spreader {number:02}", "kind": "rotary_spreader", "has_deflector": True, "hopper_lb": "120", "active": True}
        state["machines"].append(made("/api/v1/equipment", spreader))
        label = {
            "form": "granular", "nitrogen_percent": f"{22 + number}", "slow_nitrogen_percent": "12", "phosphate_percent": "0",
            "potash_percent": "10",
        }
        product = made("/api/v1/products", {"name": f"Feed {22 + number}-0-10", "label": label, "net_weight_lb": "50"})
        lot = {
            "product_id": product, "lot_number": f"LOT-{number}", "supplier": "Sample Supply",
            "received_on": f"{today.year - 8}-01-02", "received_lb": "900000",
        }
        state["products"].append(product)
        state["lots"].append(made("/api/v1/lots", lot))

    def many(path, body, rows):
        plan = {
            "address": address, "method": "POST", "path": path, "headers": [f"authorization: Bearer {owner.token}"],
            "body": json.dumps(body), "rows": rows, "status": 201, "callers": 8, "requests": len(rows), "ids": True,
        }
        return load(plan)["ids"]

    sections = records // RECORDS_A_SECTION
    clients = [[f"{number:05}"] for number in range(sections // SECTIONS_A_CLIENT)]
    customer = {"name": "Client <0>", "mailing_address": "<0> Street A, Sampletown", "phone": "555-01<0>", "email": "client-<0>@example.com"}
    state["clients"] = many("/api/v1/clients", customer, clients)
    site = {
        "client_id": "<0>", "name": "Home", "address": "<1> Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": [RULE_SET],
    }
    places = [[state["clients"][number // 4], str(number)] for number in range(sections // 2)]
    state["properties"] = many("/api/v1/properties", site, places)
    lawn = {"property_id": "<0>", "name": "<1> lawn", "species": "tall_fescue", "water": "near", "water_distance_ft": "60", "touches_pavement": True,
            "established_on": "2012-09-01"}
    lawns = [[state["properties"][number // 2], ("front", "rear")[number % 2]] for number in range(sections)]
    state["sections"] = many("/api/v1/sections", lawn, lawns)
    measured = {"area_sqft": "<1>", "measured_on": f"{today.year - 8}-01-05", "method": "wheel", "measured_by": "Office 01"}
    areas = [[section, str(5000 + number % 60 * 100)] for number, section in enumerate(state["sections"])]
    many("/api/v1/sections/<0>/measurements", measured, areas)
    report = {
        "sampled_on": "<2>", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "cores": 12, "ph": "6.4",
        "phosphorus": "optimum", "phosphate_recommended_lb_per_1000_sqft": "0",
    }
    for sampled in (8, 5, 2):
        many("/api/v1/sections/<0>/soil-reports", report, [[*area, f"{today.year - sampled}-01-05"] for area in areas])
    visit = {
        "property_id": "<0>", "person_id": "<1>", "planned_on": str(measured_day().date()), "product_id": "<2>", "section_ids": ["<3>", "<4>"],
        "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    }
    stops = [
        [place, state["people"][number % 4], state["products"][number // 7 % 4], *state["sections"][2 * number : 2 * number + 2]]
        for number, place in enumerate(state["properties"])
    ]
    state["visits"] = many("/api/v1/visits", visit, stops)
    tell(f"{sections:,} sections of {len(clients):,} clients")
    for first in range(0, records, 25_000):
        numbers = range(first, min(records, first + 25_000))
        rows = [row(state, number, past(state, number), "14.5") for number in numbers]
        seen = load(put(state, rows) | {"address": address, "callers": 16, "requests": len(rows)})
        tell(f"{numbers.stop:,} records, {seen['requests'] / seen['seconds']:,.0f} a second")
    return state


def put(state, rows):
    """Records of these rows, each under an id of its own."""
    return {
        "method": "PUT", "path": "/api/v1/applications/<id>", "headers": ["authorization: Bearer <6>"],
        "body": json.dumps(record(), separators=(",", ":")), "rows": rows, "status": 201,
    }


def questions(state):
    """What is measured, by its name: reads first, because a record changes the book."""
    get = {"method": "GET", "status": 200, "headers": [f"authorization: Bearer {state['owner']}"]}
    year = state["year"]
    one_each = lambda ids: [[name] for name in ids]
    # A thousandth of a real amount, so that no cap is reached however many are written.
    sent = [row(state, number, measured_day(), "0.01") for number in range(len(state["sections"]))]
    return {
        "property": get | {"path": "/api/v1/properties/<0>", "rows": one_each(state["properties"])},
        "list of fifty": get | {"path": "/api/v1/applications?limit=50"},
        "statement": get | {"path": f"/api/v1/statements?year={year}&client_id=<0>", "rows": one_each(state["clients"])},
        "company's year": get | {"path": f"/api/v1/statements/company?year={year}"},
        "record": put(state, sent),
    }
