-- Frozen documents: what the unit has said to somebody outside, kept word for word. Numbered without gaps per unit and
-- kind. The figures are one text with its digest; people's names stand apart, keyed by person, so that they can be erased
-- one day without touching the figures or the digest.

create table frozen_document (
    unit_id      uuid not null references unit,
    document_id  uuid not null,
    kind         text not null constraint frozen_document_kind_known check (kind in ('season_return')),
    number       bigint not null constraint frozen_document_number_positive check (number > 0),
    season_id    uuid not null,
    -- Canonical JSON (RFC 8785): what the digest is of.
    figures      text not null constraint frozen_document_figures_json check (figures::jsonb is not null),
    sha256       bytea not null,
    stands_at    timestamptz not null,
    made_at      timestamptz not null,
    made_by      text not null,
    log_seq      bigint not null,
    primary key (unit_id, document_id),
    constraint frozen_document_season foreign key (unit_id, season_id) references season,
    constraint frozen_document_number_unique unique (unit_id, kind, number),
    constraint frozen_document_digest check (sha256 = sha256(convert_to(figures, 'UTF8')))
);
call fence('frozen_document');
grant select, insert on frozen_document to caselot_runtime;

create table frozen_name (
    unit_id      uuid not null,
    document_id  uuid not null,
    person_id    uuid not null,
    -- Null once it was erased.
    name         text constraint frozen_name_length check (length(name) between 1 and 161),
    primary key (unit_id, document_id, person_id),
    constraint frozen_name_document foreign key (unit_id, document_id) references frozen_document,
    constraint frozen_name_person foreign key (unit_id, person_id) references person
);
create index frozen_name_by_person on frozen_name (unit_id, person_id);
call fence('frozen_name');
grant select, insert on frozen_name to caselot_runtime;
grant update (name) on frozen_name to caselot_runtime;

-- Grants keep the program from changing a frozen document; these triggers keep everybody else from doing it by mistake.
create function refuse_change_of_frozen() returns trigger language plpgsql as $$
begin
    raise exception 'a frozen document is never changed: % on %', tg_op, tg_table_name using errcode = 'restrict_violation';
end $$;
create trigger frozen_document_is_frozen before update or delete on frozen_document
    for each row execute function refuse_change_of_frozen();
create trigger frozen_document_is_not_emptied before truncate on frozen_document
    for each statement execute function refuse_change_of_frozen();
create trigger frozen_name_stays before delete on frozen_name
    for each row execute function refuse_change_of_frozen();
create trigger frozen_name_is_not_emptied before truncate on frozen_name
    for each statement execute function refuse_change_of_frozen();
create trigger frozen_name_is_only_erased before update on frozen_name
    for each row when (new.name is not null or (new.unit_id, new.document_id, new.person_id) is distinct from (old.unit_id, old.document_id, old.person_id))
    execute function refuse_change_of_frozen();

-- The next number and no other: a gap would say that a document has vanished.
create function number_frozen_without_gap() returns trigger language plpgsql as $$
begin
    if new.number <> (select coalesce(max(number), 0) + 1 from frozen_document where unit_id = new.unit_id and kind = new.kind) then
        raise exception 'the number % of % is not the next one', new.number, new.kind using errcode = 'restrict_violation';
    end if;
    return new;
end $$;
create trigger frozen_document_number_next before insert on frozen_document
    for each row execute function number_frozen_without_gap();
revoke execute on function refuse_change_of_frozen(), number_frozen_without_gap() from public;
