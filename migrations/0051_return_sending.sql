-- That a filed return was sent, to whom and how, and what came back. The return itself never changes.

create table return_sending (
    unit_id       uuid not null,
    sending_id    uuid not null,
    document_id   uuid not null,
    sent_at       timestamptz not null,
    -- An office or a role rather than a person.
    sent_to       text not null constraint return_sending_sent_to_length check (length(sent_to) between 1 and 200),
    way           text not null constraint return_sending_way_known check (way in ('mail', 'head_office_system', 'by_hand', 'post', 'other')),
    noted_at      timestamptz not null,
    noted_by      text not null,
    -- What came back, noted once.
    answer        text constraint return_sending_answer_known check (answer in ('received', 'sent_back')),
    answer_reason text constraint return_sending_reason_length check (length(answer_reason) between 1 and 1000),
    answered_at   timestamptz,
    answer_by     text,
    log_seq       bigint not null,
    primary key (unit_id, sending_id),
    constraint return_sending_document foreign key (unit_id, document_id) references frozen_document,
    constraint return_sending_answer_whole check ((answer is null) = (answered_at is null) and (answer is null) = (answer_by is null)),
    constraint return_sending_sent_back_says_why check (answer is distinct from 'sent_back' or answer_reason is not null)
);
create index return_sending_by_document on return_sending (unit_id, document_id, sending_id);
call fence('return_sending');
grant select, insert on return_sending to caselot_runtime;
grant update (answer, answer_reason, answered_at, answer_by, log_seq) on return_sending to caselot_runtime;
