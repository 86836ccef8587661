"""Version of everything the pages and reports of a building show, in one query.

Rows that are only added are known by the highest key. Rows that change are known by
where PostgreSQL keeps them: an update writes a new row version, with another place
(`ctid`) and transaction (`xmin`; PostgreSQL documentation, "System Columns").
"""

import hashlib

from django.db import connection

from core.program_version import fingerprint_program
from jobs.models import Building

_VERSION = """
WITH findings AS (
    SELECT id, concat(xmin, ctid) AS place FROM checks_finding WHERE building_id = %(b)s
), decisions AS (
    SELECT id FROM checks_decision WHERE finding_id IN (SELECT id FROM findings)
), members AS (
    SELECT person_id FROM jobs_membershipevent WHERE job_id = %(j)s
)
SELECT
    (SELECT concat(xmin, ctid) FROM jobs_building WHERE id = %(b)s),
    (SELECT concat(xmin, ctid) FROM jobs_job WHERE id = %(j)s),
    (SELECT string_agg(concat(xmin, ctid), ',' ORDER BY id) FROM jobs_stage
        WHERE building_id = %(b)s),
    (SELECT string_agg(place, ',' ORDER BY id) FROM findings),
    (SELECT max(id) FROM checks_findingevent
        WHERE finding_id IN (SELECT id FROM findings)),
    (SELECT max(id) FROM decisions),
    (SELECT max(id) FROM checks_workreport
        WHERE decision_id IN (SELECT id FROM decisions)),
    (SELECT max(id) FROM jobs_planrevision WHERE building_id = %(b)s),
    (SELECT max(id) FROM jobs_steelstateevent WHERE building_id = %(b)s),
    (SELECT max(id) FROM checks_reading WHERE building_id = %(b)s),
    (SELECT max(w.id) FROM checks_readingwithdrawal w
        JOIN checks_reading r ON r.id = w.reading_id WHERE r.building_id = %(b)s),
    (SELECT max(id) FROM checks_evaluation WHERE building_id = %(b)s),
    (SELECT max(s.id) FROM checks_evaluationsupplement s
        JOIN checks_evaluation e ON e.id = s.evaluation_id
        WHERE e.building_id = %(b)s),
    (SELECT max(id) FROM checks_concreteentry WHERE building_id = %(b)s),
    (SELECT max(id) FROM checks_photograph WHERE building_id = %(b)s),
    (SELECT max(id) FROM checks_release WHERE building_id = %(b)s),
    (SELECT string_agg(concat(xmin, ctid), ',' ORDER BY id) FROM checks_instrument
        WHERE job_id = %(j)s),
    (SELECT string_agg(concat_ws(' ', person_id, role), ',' ORDER BY id)
        FROM jobs_membership WHERE job_id = %(j)s),
    (SELECT string_agg(concat_ws(' ', id, username, first_name, last_name), ','
        ORDER BY id) FROM core_person WHERE id IN (SELECT person_id FROM members))
"""


def read_building_version(building: Building) -> str:
    """Return a digest that differs whenever a page or report of a building may.

    It may also differ where nothing that is shown has changed. The date and the reader
    are not in it.
    """
    with connection.cursor() as cursor:
        cursor.execute(_VERSION, {"b": building.pk, "j": building.job_id})
        row = cursor.fetchone()
    text = "\n".join((fingerprint_program(), *map(str, row)))
    return hashlib.sha256(text.encode()).hexdigest()
