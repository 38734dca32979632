-- The permissions that the program knows (api/auth/permission.rs) and which role holds which. A change of these rows is
-- a change of policy: tests/gates/permissions.csv says the same thing for people, operation by operation.

insert into permission (permission)
select unnest(string_to_array(
    'units.create units.read people.read people.change contacts.read contacts.change people.invite grants.read '
    'grants.change seasons.read seasons.change policy.read policy.change troops.read troops.change assignments.read '
    'assignments.change standings.read screenings.read steps.read steps.report evidence.record decisions.take '
    'intakes.read intakes.upload intakes.apply returns.read returns.file log.read', ' '));

-- units.create belongs to the server's administrator and so to no role.
insert into role_permission (role, permission)
select role, unnest(string_to_array(permissions, ' ')) from (values
    ('unit_manager',
     'units.read people.read people.change contacts.read contacts.change people.invite grants.read grants.change '
     'seasons.read seasons.change policy.read policy.change troops.read troops.change assignments.read '
     'assignments.change standings.read screenings.read evidence.record decisions.take intakes.read intakes.upload '
     'intakes.apply returns.read returns.file log.read'),
    -- Reads all, the manager's own entries included; changes nothing.
    ('overseer',
     'units.read people.read contacts.read grants.read seasons.read policy.read troops.read assignments.read '
     'standings.read screenings.read intakes.read returns.read log.read'),
    -- Need coordinators' phone numbers for hand-outs; see no screening.
    ('materials_coordinator',
     'units.read people.read contacts.read seasons.read policy.read troops.read assignments.read standings.read'),
    ('distributor',
     'units.read people.read contacts.read seasons.read policy.read troops.read assignments.read standings.read'),
    -- Totals and states; no names, contact details or screening.
    ('viewer', 'units.read seasons.read policy.read troops.read standings.read'),
    -- All of these reach the own troops only.
    ('troop_coordinator',
     'units.read people.read contacts.read seasons.read policy.read troops.read assignments.read standings.read '
     'steps.read steps.report')
) as granted (role, permissions);
