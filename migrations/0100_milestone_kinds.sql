-- What a milestone is, for two questions that its day alone does not answer: whether the day counts to its end (a deadline) or
-- from its beginning (an opening), and on which side of head office's day ours may lie.
alter table milestone add column kind text not null default 'deadline'
    constraint milestone_kind_known check (kind in ('deadline', 'opening', 'event'));
update milestone set kind = 'opening' where code in ('web_sale_opens', 'sale_opens');
update milestone set kind = 'event' where code in ('kits_out', 'delivery_day');
grant update (kind) on milestone to caselot_runtime;
