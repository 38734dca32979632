-- What needs a person now: the unit manager's list, read by whoever oversees the manager too. It is computed at each look;
-- no table holds it.

insert into permission (permission) values ('needs.read');
insert into role_permission (role, permission) values ('unit_manager', 'needs.read'), ('overseer', 'needs.read');
