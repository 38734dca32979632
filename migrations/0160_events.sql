-- Programs that listen: whoever has a place in the unit may, each as far as their other permissions let them read.
insert into permission (permission) values ('events.read');
insert into role_permission (role, permission) select role, 'events.read' from role;
