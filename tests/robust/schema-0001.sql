-- A database with one invented pour, made by the program of schema 0004 and brought back to schema 0001.
BEGIN TRANSACTION;
CREATE TABLE alarm (
	id INTEGER NOT NULL, 
	pour_id INTEGER, 
	subject VARCHAR(64) NOT NULL, 
	kind VARCHAR(40) NOT NULL, 
	activation INTEGER NOT NULL, 
	priority VARCHAR(8) NOT NULL, 
	phase VARCHAR(32) NOT NULL, 
	reason VARCHAR(1000) NOT NULL, 
	value FLOAT, 
	"limit" FLOAT, 
	late BOOLEAN NOT NULL, 
	raised_ms BIGINT NOT NULL, 
	acknowledged_ms BIGINT, 
	acknowledged_by VARCHAR(100), 
	returned_ms BIGINT, 
	ended_ms BIGINT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(pour_id) REFERENCES pour (id), 
	UNIQUE (subject, kind, activation)
);
INSERT INTO "alarm" VALUES(1,1,'1/pour','core-hot',1,'high','raised','The core reads 60.0 °C: it is at the resin''s limit of 60.0 °C.',60.0,60.0,0,1795624205000,NULL,NULL,NULL,NULL);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001_first');
CREATE TABLE boot (
	id INTEGER NOT NULL, 
	station_id INTEGER, 
	boot_id VARCHAR(64) NOT NULL, 
	offset_ms BIGINT NOT NULL, 
	clock_set BOOLEAN NOT NULL, 
	steady_offset_ms BIGINT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(station_id) REFERENCES station (id), 
	UNIQUE (station_id, boot_id)
);
INSERT INTO "boot" VALUES(1,NULL,'be0c0000-0000-4000-8000-000000000001',1795620600000,1,1795620600000);
INSERT INTO "boot" VALUES(2,1,'be0c0000-0000-4000-8000-000000000001',1795620600000,1,NULL);
CREATE TABLE event (
	id INTEGER NOT NULL, 
	pour_id INTEGER, 
	at_ms BIGINT NOT NULL, 
	kind VARCHAR(32) NOT NULL, 
	"by" VARCHAR(100) NOT NULL, 
	text VARCHAR(4000) NOT NULL, 
	data JSON, 
	link VARCHAR(64), 
	PRIMARY KEY (id), 
	FOREIGN KEY(pour_id) REFERENCES pour (id)
);
INSERT INTO "event" VALUES(1,1,1795624200000,'planned','Ada','planned: Recorded','null','e30784194cd6004f568971977ff991077d2775a71ce12f0981c069bcdbb66bb9');
INSERT INTO "event" VALUES(2,1,1795624200000,'ready','Ada','','null','5e7b4c1be11ca2d3fbda3320e828f9b926413c1419b6fca87055cc68982e0a8a');
INSERT INTO "event" VALUES(3,1,1795624200000,'pouring','Ada','','null','b4d77277851373ed94293935c0281d4d5814236a35667b2a2e528a5d889fd5a9');
INSERT INTO "event" VALUES(4,1,1795624205000,'alarm','the watch','The core reads 60.0 °C: it is at the resin''s limit of 60.0 °C.','{"alarm": 1, "kind": "core-hot", "subject": "pour", "why": "first-time", "phase": "raised", "value": 60.0, "limit": 60.0, "late": false, "measured_ms": 1795624205000, "quiet": false}','3ab38918a2a3a709ab9f988df1d6feb17c3dc947e33e8ffc00183e0821934633');
CREATE TABLE forecast (
	id INTEGER NOT NULL, 
	pour_id INTEGER NOT NULL, 
	made_ms BIGINT NOT NULL, 
	at_h FLOAT NOT NULL, 
	body JSON NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(pour_id) REFERENCES pour (id)
);
CREATE TABLE outbox (
	id INTEGER NOT NULL, 
	alarm_id INTEGER, 
	created_ms BIGINT NOT NULL, 
	why VARCHAR(32) NOT NULL, 
	"to" VARCHAR(100) NOT NULL, 
	title VARCHAR(300) NOT NULL, 
	body VARCHAR(4000) NOT NULL, 
	state VARCHAR(16) NOT NULL, 
	attempts INTEGER NOT NULL, 
	next_try_ms BIGINT NOT NULL, 
	done_ms BIGINT, 
	problem VARCHAR(500), 
	PRIMARY KEY (id), 
	FOREIGN KEY(alarm_id) REFERENCES alarm (id)
);
INSERT INTO "outbox" VALUES(1,1,1795624205000,'first-time','first','URGENT: The core is too hot - Recorded','The core reads 60.0 °C: it is at the resin''s limit of 60.0 °C.
First: Keep clear and look from a distance first.
If it smokes, hisses or smells sharp: keep everybody out, do not touch it and do not move it.
More, and acknowledge (in the workshop''s network): http://127.0.0.1:8080/a/WyJyZE1FT09UMHRsSVNqWllVOV9FVmpBIiwiYWNrbm93bGVkZ2UiLCJmaXJzdCIsMV0.LvUvz3iSDeXXO7t2nRYeqnmXIIfHJ6IPdlXu_y1ZV2Q','sent',1,1795624205000,1795624205000,NULL);
CREATE TABLE person (
	id INTEGER NOT NULL, 
	name VARCHAR(100) NOT NULL, 
	role VARCHAR(16) NOT NULL, 
	password_hash VARCHAR NOT NULL, 
	created_ms BIGINT NOT NULL, 
	left_ms BIGINT, 
	PRIMARY KEY (id), 
	UNIQUE (name)
);
CREATE TABLE pour (
	id INTEGER NOT NULL, 
	title VARCHAR(300) NOT NULL, 
	client VARCHAR(200) NOT NULL, 
	stage VARCHAR(16) NOT NULL, 
	plan_toml VARCHAR NOT NULL, 
	prediction JSON, 
	model_version VARCHAR, 
	station_id INTEGER, 
	created_ms BIGINT NOT NULL, 
	poured_boot_id INTEGER, 
	poured_boot_ms BIGINT, 
	released_ms BIGINT, 
	closed_ms BIGINT, 
	reading_head VARCHAR NOT NULL, 
	event_head VARCHAR NOT NULL, 
	seal JSON, 
	watchbook JSON, 
	judged_reading_id BIGINT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(poured_boot_id) REFERENCES boot (id), 
	FOREIGN KEY(station_id) REFERENCES station (id)
);
INSERT INTO "pour" VALUES(1,'Recorded','','pouring','
title = "Recorded (invented)"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[resin.limits]
max_depth_mm = 50
[pour]
shape = "river"
depth_mm = 40
width_mm = 250
length_mm = 1800
[air]
room_c = 21
top_w_m2k = 9
bottom_w_m2k = 7
side_w_m2k = 5
','{"peak_c": 40.0, "peak_at_h": 20.0, "curve": {"hours": [0.0, 20.0, 100.0], "core_c": [21.0, 40.0, 22.0]}}','test',1,1795624200000,1,3600000,NULL,NULL,'190788b6d8e3e86141425e96ec6de913bf2bfe0f6b0067b07c2f5f5e00dfbd99','3ab38918a2a3a709ab9f988df1d6feb17c3dc947e33e8ffc00183e0821934633',NULL,'{"book": {"version": 1, "now_ms": 1795624225000, "forecast_ms": -1, "air_ms": -1, "contacts": {}, "arrived_ms": {"bench-1": 1795624225000}, "newest_ms": {"bench-1": 1795624225000}, "resumed_ms": {}, "states": {"core-hot/pour": {"phase": "raised", "activation": 1, "severity": 1, "reason": "The core reads 63.2 \u00b0C: it is over the resin''s limit of 60.0 \u00b0C.", "value": 63.2, "limit": 60.0, "raised_ms": 1795624205000, "since_ms": 1795624205000, "recent": [1], "seen_ms": 1795624225000}, "spread-too-wide/pour": {"recent": [2, 2, 2], "pending_ms": 20000, "seen_ms": 1795624225000}}, "tracks": [{"place": "core", "probe": "28-000000000000", "station": "bench-1", "first_ms": 1795624200000, "seen_ms": 1795624225000, "good_ms": 1795624225000, "missed": 0, "period_s": 5.0, "believed_c": 63.2, "believed_ms": 1795624225000, "rate_c_s": 0.1215840000000002, "suspect_c": null, "suspect_ms": 1795624200000, "late": false, "jumps": 0.0, "misses": 0.0, "unmoved_ms": 1795624225000, "last_c": 63.2, "trail": [[1795624205000, 60.0]], "base": "core"}, {"place": "surface", "probe": "28-000000000001", "station": "bench-1", "first_ms": 1795624200000, "seen_ms": 1795624225000, "good_ms": 1795624225000, "missed": 0, "period_s": 5.0, "believed_c": 21.0, "believed_ms": 1795624225000, "rate_c_s": 0.0, "suspect_c": null, "suspect_ms": 1795624200000, "late": false, "jumps": 0.0, "misses": 0.0, "unmoved_ms": 1795624200000, "last_c": 21.0, "trail": [[1795624205000, 21.0]], "base": "surface"}, {"place": "underside", "probe": "28-000000000002", "station": "bench-1", "first_ms": 1795624200000, "seen_ms": 1795624225000, "good_ms": 1795624225000, "missed": 0, "period_s": 5.0, "believed_c": 21.0, "believed_ms": 1795624225000, "rate_c_s": 0.0, "suspect_c": null, "suspect_ms": 1795624200000, "late": false, "jumps": 0.0, "misses": 0.0, "unmoved_ms": 1795624200000, "last_c": 21.0, "trail": [[1795624205000, 21.0]], "base": "underside"}, {"place": "room", "probe": "28-000000000003", "station": "bench-1", "first_ms": 1795624200000, "seen_ms": 1795624225000, "good_ms": 1795624225000, "missed": 0, "period_s": 5.0, "believed_c": 21.0, "believed_ms": 1795624225000, "rate_c_s": 0.0, "suspect_c": null, "suspect_ms": 1795624200000, "late": false, "jumps": 0.0, "misses": 0.0, "unmoved_ms": 1795624200000, "last_c": 21.0, "trail": [[1795624205000, 21.0]], "base": "room"}]}, "told": {"core-hot/pour": {"activation": 1, "severity": 1, "times": 1, "spell_ms": 1795624205000, "last_ms": 1795624205000, "second": false, "taken": false, "down": false}}}',24);
CREATE TABLE pour_probe (
	id INTEGER NOT NULL, 
	pour_id INTEGER NOT NULL, 
	rom VARCHAR(64) NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(pour_id) REFERENCES pour (id), 
	UNIQUE (pour_id, rom)
);
CREATE TABLE probe (
	id INTEGER NOT NULL, 
	station_id INTEGER NOT NULL, 
	rom VARCHAR(64) NOT NULL, 
	place VARCHAR(32) NOT NULL, 
	first_seen_ms BIGINT NOT NULL, 
	last_good_ms BIGINT, 
	last_milli_c INTEGER, 
	last_fault VARCHAR, 
	faults INTEGER NOT NULL, 
	readings INTEGER NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(station_id) REFERENCES station (id), 
	UNIQUE (station_id, rom)
);
INSERT INTO "probe" VALUES(1,1,'28-000000000001','surface',1795624200000,1795624225000,21000,NULL,0,6);
INSERT INTO "probe" VALUES(2,1,'28-000000000000','core',1795624200000,1795624225000,63200,NULL,0,6);
INSERT INTO "probe" VALUES(3,1,'28-000000000002','underside',1795624200000,1795624225000,21000,NULL,0,6);
INSERT INTO "probe" VALUES(4,1,'28-000000000003','room',1795624200000,1795624225000,21000,NULL,0,6);
CREATE TABLE reading (
	id INTEGER NOT NULL, 
	station_id INTEGER NOT NULL, 
	spool VARCHAR(36) NOT NULL, 
	seq BIGINT NOT NULL, 
	pour_id INTEGER, 
	probe VARCHAR(64) NOT NULL, 
	place VARCHAR(32) NOT NULL, 
	boot INTEGER NOT NULL, 
	boot_ms BIGINT NOT NULL, 
	wall_ms BIGINT NOT NULL, 
	clock_set BOOLEAN NOT NULL, 
	milli_c INTEGER, 
	fault VARCHAR(32), 
	raw VARCHAR(64), 
	note VARCHAR(400), 
	milli_rh INTEGER, 
	late BOOLEAN NOT NULL, 
	received_ms BIGINT NOT NULL, 
	link VARCHAR(64), 
	PRIMARY KEY (id), 
	FOREIGN KEY(boot) REFERENCES boot (id), 
	FOREIGN KEY(pour_id) REFERENCES pour (id), 
	FOREIGN KEY(station_id) REFERENCES station (id), 
	UNIQUE (station_id, spool, seq)
);
INSERT INTO "reading" VALUES(1,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',1,1,'28-000000000000','core',2,3600000,1795624200000,1,59200,NULL,'000000000000000001',NULL,NULL,0,1795624200000,'cd1d827f006a5ae83c50da249cce95c0028615ae197987cba1988b1c24dd451d');
INSERT INTO "reading" VALUES(2,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',2,1,'28-000000000001','surface',2,3600000,1795624200000,1,21000,NULL,'000000000000000002',NULL,NULL,0,1795624200000,'d48088fb2af010404369b6e5bd12482c1785f37bf981ca312ada6d54f858698e');
INSERT INTO "reading" VALUES(3,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',3,1,'28-000000000002','underside',2,3600000,1795624200000,1,21000,NULL,'000000000000000003',NULL,NULL,0,1795624200000,'831a252c50d25182034623537334d4e29a00e1027a0a2fdf7b6c65bc86e7c1e8');
INSERT INTO "reading" VALUES(4,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',4,1,'28-000000000003','room',2,3600000,1795624200000,1,21000,NULL,'000000000000000004',NULL,NULL,0,1795624200000,'eff08b1206e182d9ab56cb7dadb8de44da23c67c9b8b1a9247ff6b5b9ec7fd94');
INSERT INTO "reading" VALUES(5,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',5,1,'28-000000000000','core',2,3605000,1795624205000,1,60000,NULL,'000000000000000005',NULL,NULL,0,1795624205000,'db13ca3674172cda9c14db24eb9e57b59c536ce68584ee20ecf08a0f97dd210e');
INSERT INTO "reading" VALUES(6,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',6,1,'28-000000000001','surface',2,3605000,1795624205000,1,21000,NULL,'000000000000000006',NULL,NULL,0,1795624205000,'e7f0db230e720b3ed9aed8acbaf679fb09cb449bb33b5f7142aeaacb5be06528');
INSERT INTO "reading" VALUES(7,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',7,1,'28-000000000002','underside',2,3605000,1795624205000,1,21000,NULL,'000000000000000007',NULL,NULL,0,1795624205000,'e7dacd8766243792e3e92e39489812179111df97fb3438daa6671dbf84306223');
INSERT INTO "reading" VALUES(8,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',8,1,'28-000000000003','room',2,3605000,1795624205000,1,21000,NULL,'000000000000000008',NULL,NULL,0,1795624205000,'11c544b033ce29a37baf406a69589772ad2f386eb4f2364ecfa13db9f2d715df');
INSERT INTO "reading" VALUES(9,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',9,1,'28-000000000000','core',2,3610000,1795624210000,1,60800,NULL,'000000000000000009',NULL,NULL,0,1795624210000,'71a7c12bbff1a5696682e92f77427e3c3848b88a4c355d0c4cba0da0e6de56dc');
INSERT INTO "reading" VALUES(10,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',10,1,'28-000000000001','surface',2,3610000,1795624210000,1,21000,NULL,'00000000000000000a',NULL,NULL,0,1795624210000,'47f1c25207871a9ea9bb26077d377a6aecc1b10f54e956847de09b97297c4676');
INSERT INTO "reading" VALUES(11,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',11,1,'28-000000000002','underside',2,3610000,1795624210000,1,21000,NULL,'00000000000000000b',NULL,NULL,0,1795624210000,'757fcd56ff98804f291010a5c2c338e9f8347654b291c983ba4b231f474436bd');
INSERT INTO "reading" VALUES(12,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',12,1,'28-000000000003','room',2,3610000,1795624210000,1,21000,NULL,'00000000000000000c',NULL,NULL,0,1795624210000,'2cb398eb6fb9ed6fc22c3405565fdfe4b50d054fd3dd8ca513649a3f5e3420b2');
INSERT INTO "reading" VALUES(13,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',13,1,'28-000000000000','core',2,3615000,1795624215000,1,61600,NULL,'00000000000000000d',NULL,NULL,0,1795624215000,'cfe334c88dd09a3e963d045bff52e9ec1879a3704fe280ffedb49b9696d9ef8e');
INSERT INTO "reading" VALUES(14,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',14,1,'28-000000000001','surface',2,3615000,1795624215000,1,21000,NULL,'00000000000000000e',NULL,NULL,0,1795624215000,'91f2fa9bcb107a4c8ac842c2cbba99d8960738541b400923874a501495b94164');
INSERT INTO "reading" VALUES(15,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',15,1,'28-000000000002','underside',2,3615000,1795624215000,1,21000,NULL,'00000000000000000f',NULL,NULL,0,1795624215000,'8dcb5283353e218f8c5dd0a3a95f7852a34f3d430d1379db7e08124197bd94ec');
INSERT INTO "reading" VALUES(16,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',16,1,'28-000000000003','room',2,3615000,1795624215000,1,21000,NULL,'000000000000000010',NULL,NULL,0,1795624215000,'5cad4e6d8122769c1a789d07634d3afa4f835973a35cff0995caf03ac0e2ccab');
INSERT INTO "reading" VALUES(17,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',17,1,'28-000000000000','core',2,3620000,1795624220000,1,62400,NULL,'000000000000000011',NULL,NULL,0,1795624220000,'2d7804775293c14d2661240ecd53cf1580cc69d85ace7f9dd5da3d44d043d3a5');
INSERT INTO "reading" VALUES(18,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',18,1,'28-000000000001','surface',2,3620000,1795624220000,1,21000,NULL,'000000000000000012',NULL,NULL,0,1795624220000,'cd36e4053b65ef70107626032362135466fc53d14adb5666c6c476d2d6fe89e2');
INSERT INTO "reading" VALUES(19,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',19,1,'28-000000000002','underside',2,3620000,1795624220000,1,21000,NULL,'000000000000000013',NULL,NULL,0,1795624220000,'b71d9935281a03b4f98629113d81e34a8d1e4553069db163a0db7eb2698e6976');
INSERT INTO "reading" VALUES(20,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',20,1,'28-000000000003','room',2,3620000,1795624220000,1,21000,NULL,'000000000000000014',NULL,NULL,0,1795624220000,'405d298c6b23863d877d7fe29d3788ec6ede579b4d65edfe28d2951b897726d1');
INSERT INTO "reading" VALUES(21,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',21,1,'28-000000000000','core',2,3625000,1795624225000,1,63200,NULL,'000000000000000015',NULL,NULL,0,1795624225000,'707e4ca27d237e480fb28104172a92f39f610f35ff47e26c8a9cc4819cfca090');
INSERT INTO "reading" VALUES(22,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',22,1,'28-000000000001','surface',2,3625000,1795624225000,1,21000,NULL,'000000000000000016',NULL,NULL,0,1795624225000,'d6f9117eae9661ce834f8bee7bf5d778847f2efb2e340fe4718e717b66be5cdb');
INSERT INTO "reading" VALUES(23,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',23,1,'28-000000000002','underside',2,3625000,1795624225000,1,21000,NULL,'000000000000000017',NULL,NULL,0,1795624225000,'79fedceb521553db69e16d4cbf94c2e71aaaa60a0971abd40db52d32a3c1f24b');
INSERT INTO "reading" VALUES(24,1,'46793f35-1ef0-4a9a-b54e-131bf944eb38',24,1,'28-000000000003','room',2,3625000,1795624225000,1,21000,NULL,'000000000000000018',NULL,NULL,0,1795624225000,'190788b6d8e3e86141425e96ec6de913bf2bfe0f6b0067b07c2f5f5e00dfbd99');
CREATE TABLE secret (
	name VARCHAR(32) NOT NULL, 
	value BLOB NOT NULL, 
	made_ms BIGINT NOT NULL, 
	PRIMARY KEY (name)
);
INSERT INTO "secret" VALUES('links',X'E50ADA63664E30E7842342149421A04F0FA1AB87A76F8AE8FBE1425F57562B1C',1795624205000);
CREATE TABLE sign_in (
	id INTEGER NOT NULL, 
	person_id INTEGER NOT NULL, 
	token_hash VARCHAR(64) NOT NULL, 
	created_ms BIGINT NOT NULL, 
	expires_ms BIGINT NOT NULL, 
	seen_ms BIGINT NOT NULL, 
	ended_ms BIGINT, 
	browser VARCHAR(200) NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(person_id) REFERENCES person (id), 
	UNIQUE (token_hash)
);
CREATE TABLE station (
	id INTEGER NOT NULL, 
	name VARCHAR(64) NOT NULL, 
	token_hash VARCHAR, 
	enrolled_ms BIGINT NOT NULL, 
	revoked_ms BIGINT, 
	last_seen_ms BIGINT, 
	clock_set BOOLEAN NOT NULL, 
	fan_on BOOLEAN NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (name)
);
INSERT INTO "station" VALUES(1,'bench-1','3d96a458120e68868ccca6bad66be3fc8df4627a6b7372d69b98d3ba7688774d',0,NULL,1795624225000,1,0);
CREATE INDEX ix_station_token_hash ON station (token_hash);
CREATE INDEX ix_sign_in_person_id ON sign_in (person_id);
CREATE INDEX ix_pour_stage ON pour (stage);
CREATE INDEX ix_pour_station_id ON pour (station_id);
CREATE INDEX alarm_of_pour ON alarm (pour_id, id);
CREATE INDEX ix_alarm_phase ON alarm (phase);
CREATE INDEX event_of_pour ON event (pour_id, id);
CREATE INDEX forecast_of_pour ON forecast (pour_id, id);
CREATE INDEX ix_pour_probe_pour_id ON pour_probe (pour_id);
CREATE INDEX reading_of_pour ON reading (pour_id, id);
CREATE INDEX ix_outbox_alarm_id ON outbox (alarm_id);
CREATE INDEX ix_outbox_state ON outbox (state);
COMMIT;
