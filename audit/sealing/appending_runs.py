"""SQL by which the tree grows since its hashes stand together. Migrations refer to it: keep it so.

It stands in the place of the functions of the same names in audit.sealing.appending, and asks for
the same proof of the signing key.
"""

from audit.sealing import appending

EXTEND = """
CREATE OR REPLACE FUNCTION audit_extend(
    start bigint, firsts bigint[], counts bigint[], leaves bytea, nodes bytea, proof bytea
) RETURNS void LANGUAGE plpgsql
SECURITY DEFINER SET search_path = public, pg_temp AS $$
-- Leaves from `start` on, for entries in runs of so many from each first id, and the nodes they
-- complete, level by level from 1. Places are worked out here; hashes come one after the other,
-- and stand together, up to 32 of them in a row (audit.sealing.models.RUN).
DECLARE
    many bigint := (SELECT sum(c) FROM unnest(counts) c);
    level int := 1;
    done bigint := 0;
    here bigint;
BEGIN
    PERFORM audit_require_signer(proof);
    IF start <> coalesce((SELECT l.index + octet_length(l.hashes) / 32
        FROM audit_leaf l ORDER BY l.index DESC LIMIT 1), 0) THEN
        RAISE EXCEPTION 'The tree does not end at leaf %.', start USING ERRCODE = 'check_violation';
    END IF;
    IF 1 > ANY (counts) OR cardinality(firsts) <> cardinality(counts)
        OR octet_length(leaves) IS DISTINCT FROM 32 * many THEN
        RAISE EXCEPTION 'Not a hash for each of % entries.', many USING ERRCODE = 'check_violation';
    END IF;
    IF many <> (SELECT count(*) FROM unnest(firsts, counts) AS run(first, count)
        JOIN audit_entry e ON e.id BETWEEN run.first AND run.first + run.count - 1) THEN
        RAISE EXCEPTION 'Not all of % entries are in the history.', many
            USING ERRCODE = 'check_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT first, count, lead(first) OVER (ORDER BY first) AS next
            FROM unnest(firsts, counts) AS u(first, count)) run
        LEFT JOIN LATERAL (SELECT l.entry_id + octet_length(l.hashes) / 32 AS stop
            FROM audit_leaf l WHERE l.entry_id < run.first + run.count
            ORDER BY l.entry_id DESC LIMIT 1) there ON true
        WHERE run.next < run.first + run.count OR there.stop > run.first) THEN
        RAISE EXCEPTION 'One of % entries is sealed already.', many
            USING ERRCODE = 'unique_violation';
    END IF;
    INSERT INTO audit_leaf (index, entry_id, hashes)
    SELECT start + run.before + g, run.first + g,
        substring(leaves FROM ((run.before + g) * 32 + 1)::int
            FOR 32 * least(run.count - g, 32)::int)
    FROM (
        SELECT u.first, u.count, (sum(u.count) OVER (ORDER BY u.ord) - u.count)::bigint AS before
        FROM unnest(firsts, counts) WITH ORDINALITY AS u(first, count, ord)
    ) run CROSS JOIN LATERAL generate_series(0, run.count - 1, 32) g;
    WHILE (start + many) >> level > 0 LOOP
        here := ((start + many) >> level) - (start >> level);
        INSERT INTO audit_node (level, "offset", hashes)
        SELECT level, (start >> level) + g,
            substring(nodes FROM ((done + g) * 32 + 1)::int FOR 32 * least(here - g, 32)::int)
        FROM generate_series(0, here - 1, 32) g;
        done := done + here;
        level := level + 1;
    END LOOP;
    IF octet_length(nodes) IS DISTINCT FROM 32 * done THEN
        RAISE EXCEPTION 'Not a hash for each of % nodes.', done USING ERRCODE = 'check_violation';
    END IF;
END $$;
"""

SIGNED = """
CREATE OR REPLACE FUNCTION audit_signed(
    size bigint, root bytea, note text, made_at timestamptz, floor_txid bigint, floor_id bigint,
    promise bytea, proof bytea
) RETURNS bigint LANGUAGE plpgsql
SECURITY DEFINER SET search_path = public, pg_temp AS $$
-- A checkpoint over the tree as it is stored; returns its id.
DECLARE made bigint;
BEGIN
    PERFORM audit_require_signer(proof);
    IF size <> coalesce((SELECT l.index + octet_length(l.hashes) / 32
        FROM audit_leaf l ORDER BY l.index DESC LIMIT 1), 0) THEN
        RAISE EXCEPTION 'The tree has not % leaves.', size USING ERRCODE = 'check_violation';
    END IF;
    IF octet_length(root) IS DISTINCT FROM 32 OR octet_length(promise) IS DISTINCT FROM 32 THEN
        RAISE EXCEPTION 'A root and a promise have 32 bytes.' USING ERRCODE = 'check_violation';
    END IF;
    INSERT INTO audit_checkpoint (size, root, note, made_at, floor_txid, floor_id, promise)
    VALUES (size, root, note, coalesce(made_at, clock_timestamp()), floor_txid, floor_id, promise)
    RETURNING id INTO made;
    RETURN made;
END $$;
"""

CREATE = EXTEND + SIGNED
BEFORE = f"{appending.EXTEND}{appending.SIGNED}".replace("CREATE FUN", "CREATE OR REPLACE FUN")
