-- The same job as one would write it in SQL: parse, de-duplicate, zones, number to slot, prices, windows, cash.
-- It keeps no file and row of a vend, checks nothing, and finds nothing but the sums.
CREATE TABLE slots AS SELECT * FROM read_csv('$ROOT/slots.csv', header = true,
    columns = {machine: 'VARCHAR', zone: 'VARCHAR', label: 'VARCHAR', bus: 'INTEGER', price: 'BIGINT'});
CREATE TABLE machines AS SELECT DISTINCT machine, zone FROM slots;
CREATE TABLE vends AS
WITH logged AS (
    SELECT * FROM read_csv('$INBOX/sales-*.csv', header = true, columns = {machine: 'VARCHAR', time: 'TIMESTAMP',
        bus: 'INTEGER', price: 'DECIMAL(12,2)', tender: 'VARCHAR', outcome: 'VARCHAR', reference: 'VARCHAR'})
), once AS (
    SELECT machine, reference, first(time) AS time, first(bus) AS bus, first(price) AS price,
        first(tender) AS tender, first(outcome) AS outcome
    FROM logged GROUP BY machine, reference
)
SELECT once.machine, slots.label, timezone(machines.zone, once.time) AS time, tender, outcome,
    coalesce(CAST(once.price * 100 AS BIGINT), slots.price) AS cents
FROM once JOIN machines USING (machine)
LEFT JOIN slots ON slots.machine = once.machine AND slots.bus = once.bus;
CREATE TABLE counts AS SELECT c.machine, c.label, timezone(zone, c.time) AS opened,
    lead(timezone(zone, c.time)) OVER (PARTITION BY c.machine, c.label ORDER BY c.time) AS closed
FROM read_csv('$INBOX/counts-*.csv', header = true, columns = {machine: 'VARCHAR', time: 'TIMESTAMP', label: 'VARCHAR',
    counted: 'INTEGER', loaded: 'INTEGER'}) c JOIN machines USING (machine);
CREATE TABLE boxes AS SELECT c.machine, timezone(zone, c.time) AS opened,
    lead(timezone(zone, c.time)) OVER (PARTITION BY c.machine ORDER BY c.time) AS closed
FROM read_csv('$INBOX/cash-*.csv', header = true,
    columns = {machine: 'VARCHAR', time: 'TIMESTAMP', total: 'DECIMAL(12,2)'}) c JOIN machines USING (machine);
COPY (
    WITH sold AS (
        SELECT counts.machine, counts.label, counts.opened, count(*) AS vended
        FROM vends ASOF JOIN counts
            ON vends.machine = counts.machine AND vends.label = counts.label AND vends.time >= counts.opened
        WHERE vends.outcome IN ('vended', 'refunded') GROUP BY ALL
    )
    SELECT machine, label, epoch_us(closed) AS closed, coalesce(vended, 0)::BIGINT AS figure
    FROM counts LEFT JOIN sold USING (machine, label, opened) WHERE closed IS NOT NULL
) TO '$OUT/stock.parquet' (FORMAT parquet);
COPY (
    WITH paid AS (
        SELECT boxes.machine, boxes.opened, sum(cents) AS cents
        FROM vends ASOF JOIN boxes ON vends.machine = boxes.machine AND vends.time >= boxes.opened
        WHERE vends.tender = 'cash' AND vends.outcome = 'vended' GROUP BY ALL
    )
    SELECT machine, epoch_us(closed) AS closed, coalesce(cents, 0)::BIGINT AS figure
    FROM boxes LEFT JOIN paid USING (machine, opened) WHERE closed IS NOT NULL
) TO '$OUT/cash.parquet' (FORMAT parquet);
