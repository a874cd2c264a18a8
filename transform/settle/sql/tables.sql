-- The fates decided in this load.
CREATE TEMP TABLE fate_now (
    record_set VARCHAR, file INTEGER, line BIGINT, fate VARCHAR, held BOOLEAN,
    "column" VARCHAR, rule VARCHAR, value VARCHAR, message VARCHAR);
