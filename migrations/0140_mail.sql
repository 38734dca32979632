-- Mail. What leaves is written in the transaction of its cause, and a worker hands it to a mail server afterwards.

-- It waited for this and never held a row.
drop table outbox;

-- A message to a person of the unit. Its words are rendered once, when it is written: what was sent is what stands here.
create table message (
    unit_id        uuid not null,
    message_id     uuid not null,
    kind           text not null
        constraint message_kind_known check (kind in ('invitation', 'missing', 'welcome', 'suspended', 'before_milestone')),
    person_id      uuid not null,
    troop_id       uuid,
    language       text not null,
    -- None for a person without one: such a draft is read out or taken to the person by hand.
    to_address     text,
    subject        text not null,
    -- Where a link stands that is a secret, U+E000 stands here, and the link is sealed beside it until the message has ended.
    body           text not null,
    link_sealed    bytea,
    state          text not null
        constraint message_state_known check (state in ('draft', 'waiting', 'sending', 'sent', 'given_up', 'discarded')),
    sent_by_hand   boolean not null,
    written_at     timestamptz not null,
    written_by     text not null,
    -- These follow the real clock, as mail servers do, and not the season's.
    queued_at      timestamptz,
    due_at         timestamptz,
    claimed_at     timestamptz,
    useless_at     timestamptz,
    ended_at       timestamptz,
    bounced_at     timestamptz,
    attempts       integer not null,
    -- What the mail server said last, shortened.
    last_answer    text,
    version        bigint not null,
    log_seq        bigint not null,
    primary key (unit_id, message_id),
    constraint message_person foreign key (unit_id, person_id) references person,
    constraint message_troop foreign key (unit_id, troop_id) references troop,
    constraint message_due_while_it_goes check ((state in ('waiting', 'sending')) = (due_at is not null)),
    constraint message_claimed_while_sending check ((state = 'sending') = (claimed_at is not null)),
    constraint message_secret_only_before_its_end check (link_sealed is null or state in ('draft', 'waiting', 'sending'))
);
create index message_due on message (unit_id, due_at) where state in ('waiting', 'sending');
create index message_person_at on message (unit_id, person_id, message_id);
call fence('message');
grant select, insert on message to caselot_runtime;
grant update (person_id, to_address, subject, body, link_sealed, state, sent_by_hand, queued_at, due_at, claimed_at, ended_at, bounced_at,
    attempts, last_answer, version, log_seq) on message to caselot_runtime;

-- The unit's own wording of a kind of message, in a language; without one the shipped wording is used.
create table mail_template (
    unit_id   uuid not null references unit,
    kind      text not null
        constraint mail_template_kind_known check (kind in ('invitation', 'missing', 'welcome', 'suspended', 'before_milestone')),
    language  text not null constraint mail_template_language_shape check (language ~ '^[a-z]{2,3}$'),
    subject   text not null,
    body      text not null,
    version   bigint not null,
    log_seq   bigint not null,
    primary key (unit_id, kind, language)
);
call fence('mail_template');
grant select, insert, delete on mail_template to caselot_runtime;
grant update (subject, body, version, log_seq) on mail_template to caselot_runtime;

-- How the unit sends: nothing leaves before somebody has said so.
create table mail_setting (
    unit_id      uuid not null primary key references unit,
    sends        boolean not null,
    reply_to     text,
    language     text not null constraint mail_setting_language_shape check (language ~ '^[a-z]{2,3}$'),
    version      bigint not null,
    log_seq      bigint not null
);
call fence('mail_setting');
grant select, insert on mail_setting to caselot_runtime;
grant update (sends, reply_to, language, version, log_seq) on mail_setting to caselot_runtime;

-- Mail of the server to its accounts: links that open them. An account belongs to no unit.
create table account_message (
    account_message_id  uuid not null primary key,
    account_id          uuid not null constraint account_message_account references account,
    kind                text not null constraint account_message_kind_known
        check (kind in ('password_reset', 'sign_in_link', 'email_change', 'email_changing')),
    to_address          text not null,
    link_sealed         bytea,
    state               text not null constraint account_message_state_known check (state in ('waiting', 'sending', 'sent', 'given_up')),
    queued_at           timestamptz not null,
    due_at              timestamptz,
    claimed_at          timestamptz,
    useless_at          timestamptz not null,
    ended_at            timestamptz,
    attempts            integer not null,
    last_answer         text,
    constraint account_message_due_while_it_goes check ((state in ('waiting', 'sending')) = (due_at is not null)),
    constraint account_message_claimed_while_sending check ((state = 'sending') = (claimed_at is not null)),
    constraint account_message_secret_only_before_its_end check (link_sealed is null or state in ('waiting', 'sending'))
);
create index account_message_due on account_message (due_at) where state in ('waiting', 'sending');
create index account_message_account_at on account_message (account_id, queued_at);
grant select, insert, delete on account_message to caselot_runtime;
grant update (to_address, link_sealed, state, due_at, claimed_at, ended_at, attempts, last_answer) on account_message to caselot_runtime;

-- Somebody asked for a link. Written down whether the address has an account or not, so that the answer takes as long; a worker
-- looks afterwards. Kept for a day, to count by.
create table link_request (
    link_request_id  uuid not null primary key,
    kind             text not null constraint link_request_kind_known check (kind in ('password_reset', 'sign_in_link')),
    email_key        text not null,
    sender           text not null,
    asked_at         timestamptz not null,
    looked_at_at     timestamptz
);
create index link_request_asked on link_request (sender, asked_at);
create index link_request_email on link_request (email_key, asked_at);
create index link_request_open on link_request (asked_at) where looked_at_at is null;
grant select, insert, delete on link_request to caselot_runtime;
grant update (looked_at_at) on link_request to caselot_runtime;

-- The language in which somebody is written to; none: the unit's.
alter table person_contact add column language text constraint person_contact_language_shape check (language ~ '^[a-z]{2,3}$');
grant update (language) on person_contact to caselot_runtime;

insert into permission (permission) values ('mail.read'), ('mail.change'), ('messages.read'), ('messages.send');
insert into role_permission (role, permission) values
    ('unit_manager', 'mail.read'), ('unit_manager', 'mail.change'), ('unit_manager', 'messages.read'), ('unit_manager', 'messages.send'),
    ('overseer', 'mail.read'), ('overseer', 'messages.read');
