-- A co-coordinator who becomes the lead, and the lead who is one no longer: `assignment.lead` says how it is now, each row
-- here that it was otherwise before, so that an answer as of an earlier instant still knows who led then.
create table lead_change (
    unit_id        uuid not null,
    assignment_id  uuid not null,
    lead           boolean not null,
    changed_at     timestamptz not null,
    changed_by     text not null,
    log_seq        bigint not null,
    primary key (unit_id, assignment_id, log_seq),
    constraint lead_change_assignment foreign key (unit_id, assignment_id) references assignment
);
call fence('lead_change');
grant select, insert on lead_change to caselot_runtime;
