"""SQL by which the tree, its checkpoints and its keys grow. Migrations refer to it: keep it so.

The program's role may insert into none of them. It calls these functions, which run as the tables'
owner and ask for proof of the signing key: every checkpoint promises the SHA-256 of a value that
only the key which signed it can work out (audit.sealing.keys.proof_after), and whoever appends next
shows that value. One that was shown is of no more use.
"""

REQUIRE = """
CREATE FUNCTION audit_require_signer(proof bytea) RETURNS void LANGUAGE plpgsql
SECURITY DEFINER SET search_path = public, pg_temp AS $$
-- Without a promise (none sealed yet, or sealed before there were any) all may begin. Without a
-- proof only the owner goes on: the way out where a key is lost or a row was altered.
DECLARE promised bytea;
BEGIN
    PERFORM pg_advisory_xact_lock(83860381975890);  -- audit.sealing.store.LOCK
    SELECT c.promise INTO promised FROM audit_checkpoint c ORDER BY c.id DESC LIMIT 1;
    IF promised IS NULL OR sha256(proof) = promised THEN RETURN; END IF;
    IF proof IS NULL AND pg_has_role(session_user,
        (SELECT relowner FROM pg_class WHERE oid = 'audit_checkpoint'::regclass), 'MEMBER')
    THEN RETURN; END IF;
    RAISE EXCEPTION 'Only the signer of the history appends to it: this is not its key''s proof.'
        USING ERRCODE = 'insufficient_privilege',
        HINT = 'Where the key is lost or the newest checkpoint was altered: OWNER_DATABASE_URL.';
END $$;
"""

EXTEND = """
CREATE FUNCTION audit_extend(
    start bigint, firsts bigint[], counts bigint[], leaves bytea, nodes bytea, proof bytea
) RETURNS void LANGUAGE plpgsql
SECURITY DEFINER SET search_path = public, pg_temp AS $$
-- Leaves from `start` on, for entries in runs of so many from each first id, and the nodes they
-- complete, level by level from 1. Places are worked out here; hashes come one after the other.
DECLARE
    many bigint := (SELECT sum(c) FROM unnest(counts) c);
    level int := 1;
    done bigint := 0;
    here bigint;
BEGIN
    PERFORM audit_require_signer(proof);
    IF start <> (SELECT coalesce(max(l.index) + 1, 0) FROM audit_leaf l) THEN
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
    INSERT INTO audit_leaf (index, entry_id, hash)
    SELECT start + run.before + g, run.first + g,
        substring(leaves FROM ((run.before + g) * 32 + 1)::int FOR 32)
    FROM (
        SELECT u.first, u.count, (sum(u.count) OVER (ORDER BY u.ord) - u.count)::bigint AS before
        FROM unnest(firsts, counts) WITH ORDINALITY AS u(first, count, ord)
    ) run CROSS JOIN LATERAL generate_series(0, run.count - 1) g;
    WHILE (start + many) >> level > 0 LOOP
        here := ((start + many) >> level) - (start >> level);
        INSERT INTO audit_node (level, "offset", hash)
        SELECT level, (start >> level) + g, substring(nodes FROM ((done + g) * 32 + 1)::int FOR 32)
        FROM generate_series(0, here - 1) g;
        done := done + here;
        level := level + 1;
    END LOOP;
    IF octet_length(nodes) IS DISTINCT FROM 32 * done THEN
        RAISE EXCEPTION 'Not a hash for each of % nodes.', done USING ERRCODE = 'check_violation';
    END IF;
END $$;
"""

SIGNED = """
CREATE FUNCTION audit_signed(
    size bigint, root bytea, note text, made_at timestamptz, floor_txid bigint, floor_id bigint,
    promise bytea, proof bytea
) RETURNS bigint LANGUAGE plpgsql
SECURITY DEFINER SET search_path = public, pg_temp AS $$
-- A checkpoint over the tree as it is stored; returns its id.
DECLARE made bigint;
BEGIN
    PERFORM audit_require_signer(proof);
    IF size <> (SELECT coalesce(max(l.index) + 1, 0) FROM audit_leaf l) THEN
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

KEYED = """
CREATE FUNCTION audit_keyed(public_key text, replaced text, proof bytea) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
-- A signing key's public half: the first of a history, or with proof of the one it replaces.
DECLARE made bigint;
BEGIN
    PERFORM audit_require_signer(proof);
    IF replaced <> coalesce((SELECT k.public FROM audit_ledgerkey k ORDER BY k.id DESC LIMIT 1), '')
    THEN
        RAISE EXCEPTION 'The newest key is not %.', replaced USING ERRCODE = 'check_violation';
    END IF;
    INSERT INTO audit_ledgerkey (public, replaces) VALUES (public_key, replaced)
    RETURNING id INTO made;
    RETURN made;
END $$;
"""

CREATE = REQUIRE + EXTEND + SIGNED + KEYED

DROP = """
DROP FUNCTION audit_keyed(text, text, bytea);
DROP FUNCTION audit_signed(bigint, bytea, text, timestamptz, bigint, bigint, bytea, bytea);
DROP FUNCTION audit_extend(bigint, bigint[], bigint[], bytea, bytea, bytea);
DROP FUNCTION audit_require_signer(bytea);
"""
