PRAGMA application_id = 1819558475;
PRAGMA user_version = 3;
BEGIN TRANSACTION;
CREATE TABLE bag (id INTEGER PRIMARY KEY AUTOINCREMENT, golfer_id INTEGER NOT NULL REFERENCES golfer, name TEXT NOT NULL,
            note TEXT NOT NULL);
INSERT INTO "bag" VALUES(1,1,'irons','');
CREATE TABLE bend (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT NOT NULL,
            bend_deg REAL NOT NULL, after_gauge INTEGER REFERENCES gauge, note TEXT NOT NULL);
INSERT INTO "bend" VALUES(1,2,'2026-03-03',-1.0,2,'cold');
CREATE TABLE change (id INTEGER PRIMARY KEY AUTOINCREMENT, edit_id INTEGER NOT NULL REFERENCES edit, kind TEXT NOT NULL,
            row_id INTEGER NOT NULL, before TEXT);
INSERT INTO "change" VALUES(1,1,'golfer',1,NULL);
INSERT INTO "change" VALUES(2,2,'bag',1,NULL);
INSERT INTO "change" VALUES(3,2,'club',1,NULL);
INSERT INTO "change" VALUES(4,2,'gauge',1,NULL);
INSERT INTO "change" VALUES(5,2,'club',2,NULL);
INSERT INTO "change" VALUES(6,2,'gauge',2,NULL);
INSERT INTO "change" VALUES(7,2,'club',3,NULL);
INSERT INTO "change" VALUES(8,2,'gauge',3,NULL);
INSERT INTO "change" VALUES(9,3,'session',1,NULL);
INSERT INTO "change" VALUES(10,4,'shot',1,NULL);
INSERT INTO "change" VALUES(11,5,'shot',2,NULL);
INSERT INTO "change" VALUES(12,6,'shot',3,NULL);
INSERT INTO "change" VALUES(13,7,'shot',4,NULL);
INSERT INTO "change" VALUES(14,8,'shot',5,NULL);
INSERT INTO "change" VALUES(15,9,'shot',6,NULL);
INSERT INTO "change" VALUES(16,10,'shot',2,'{"id": 2, "session_id": 1, "number": 2, "club_id": 2, "at": "2026-11-28T11:29:36.634+00:00", "photo": null, "tilt_deg": 3.25, "u_tilt_deg": 0.4, "strike_toe_mm": 6.0, "u_strike_toe_mm": 0.3, "strike_up_mm": 18.5, "u_strike_up_mm": 1.0, "line_width_mm": 3.1, "u_line_width_mm": 0.2, "flags": "patchy ink", "lie_error_deg": 1.3195313104069244, "u_lie_error_deg": 1.3981973526356002, "heading_known": 0, "start_deg": null, "u_start_deg": null, "counted": 1, "why": "", "note": "", "mark_budget": "[{\"component\":\"ink\",\"contribution_deg\":0.4}]", "lie_budget": "[{\"component\":\"tilt of the print\",\"value\":3.25,\"unit\":\"deg\",\"u\":0.4,\"sensitivity\":0.829029327862249,\"contribution_deg\":0.3316117311449,\"share\":0.056250038060361},{\"component\":\"loft delivered\",\"value\":34.0,\"unit\":\"deg\",\"u\":2.5,\"sensitivity\":0.000640086942919,\"contribution_deg\":0.001600217357298,\"share\":0.000001309848306},{\"component\":\"face heading (unknown)\",\"value\":0.0,\"unit\":\"deg\",\"u\":2.75,\"sensitivity\":0.463076165819367,\"contribution_deg\":1.273459456003259,\"share\":0.829532286847664},{\"component\":\"setup tilt of the ball''s line\",\"value\":2.0,\"unit\":\"deg\",\"u\":0.5,\"sensitivity\":-0.687641120303591,\"contribution_deg\":0.343820560151796,\"share\":0.060468157566928},{\"component\":\"turn of the ball''s line\",\"value\":0.0,\"unit\":\"deg\",\"u\":0.7,\"sensitivity\":-0.463076165819367,\"contribution_deg\":0.324153316073557,\"share\":0.053748207676741}]"}');
INSERT INTO "change" VALUES(17,11,'plan',1,NULL);
INSERT INTO "change" VALUES(18,12,'bend',1,NULL);
INSERT INTO "change" VALUES(19,12,'gauge',4,NULL);
INSERT INTO "change" VALUES(20,13,'golfer',1,'{"id": 1, "name": "Ansel Fairweather", "handed": "right", "note": "first visit"}');
INSERT INTO "change" VALUES(21,14,'shot',3,'{"id": 3, "session_id": 1, "number": 3, "club_id": 1, "at": "2026-11-28T11:29:36.658+00:00", "photo": null, "tilt_deg": -0.75, "u_tilt_deg": 0.4, "strike_toe_mm": 1.0, "u_strike_toe_mm": 0.3, "strike_up_mm": 18.5, "u_strike_up_mm": 1.0, "line_width_mm": 3.1, "u_line_width_mm": 0.2, "flags": "patchy ink", "lie_error_deg": -2.2904799328079393, "u_lie_error_deg": 1.2438028950377495, "heading_known": 0, "start_deg": null, "u_start_deg": null, "counted": 1, "why": "", "note": "wet face", "mark_budget": "[{\"component\":\"ink\",\"contribution_deg\":0.4}]", "lie_budget": "[{\"component\":\"tilt of the print\",\"value\":-0.75,\"unit\":\"deg\",\"u\":0.4,\"sensitivity\":0.899376380565304,\"contribution_deg\":0.359750552226122,\"share\":0.08365652333594},{\"component\":\"loft delivered\",\"value\":26.0,\"unit\":\"deg\",\"u\":2.5,\"sensitivity\":0.033212004539355,\"contribution_deg\":0.083030011348387,\"share\":0.004456224560329},{\"component\":\"face heading (unknown)\",\"value\":0.0,\"unit\":\"deg\",\"u\":2.75,\"sensitivity\":0.393557812632954,\"contribution_deg\":1.082283984740624,\"share\":0.757145485595144},{\"component\":\"setup tilt of the ball''s line\",\"value\":2.0,\"unit\":\"deg\",\"u\":0.5,\"sensitivity\":-0.808696672537628,\"contribution_deg\":0.404348336268814,\"share\":0.105683744962587},{\"component\":\"turn of the ball''s line\",\"value\":0.0,\"unit\":\"deg\",\"u\":0.7,\"sensitivity\":-0.393557812632954,\"contribution_deg\":0.275490468843068,\"share\":0.049058021545999}]"}');
INSERT INTO "change" VALUES(22,15,'shot',3,'{"id": 3, "session_id": 1, "number": 3, "club_id": 1, "at": "2026-11-28T11:29:36.658+00:00", "photo": null, "tilt_deg": -0.75, "u_tilt_deg": 0.4, "strike_toe_mm": 1.0, "u_strike_toe_mm": 0.3, "strike_up_mm": 18.5, "u_strike_up_mm": 1.0, "line_width_mm": 3.1, "u_line_width_mm": 0.2, "flags": "patchy ink", "lie_error_deg": -2.2904799328079393, "u_lie_error_deg": 1.2438028950377495, "heading_known": 0, "start_deg": null, "u_start_deg": null, "counted": 0, "why": "thin strike", "note": "wet face", "mark_budget": "[{\"component\":\"ink\",\"contribution_deg\":0.4}]", "lie_budget": "[{\"component\":\"tilt of the print\",\"value\":-0.75,\"unit\":\"deg\",\"u\":0.4,\"sensitivity\":0.899376380565304,\"contribution_deg\":0.359750552226122,\"share\":0.08365652333594},{\"component\":\"loft delivered\",\"value\":26.0,\"unit\":\"deg\",\"u\":2.5,\"sensitivity\":0.033212004539355,\"contribution_deg\":0.083030011348387,\"share\":0.004456224560329},{\"component\":\"face heading (unknown)\",\"value\":0.0,\"unit\":\"deg\",\"u\":2.75,\"sensitivity\":0.393557812632954,\"contribution_deg\":1.082283984740624,\"share\":0.757145485595144},{\"component\":\"setup tilt of the ball''s line\",\"value\":2.0,\"unit\":\"deg\",\"u\":0.5,\"sensitivity\":-0.808696672537628,\"contribution_deg\":0.404348336268814,\"share\":0.105683744962587},{\"component\":\"turn of the ball''s line\",\"value\":0.0,\"unit\":\"deg\",\"u\":0.7,\"sensitivity\":-0.393557812632954,\"contribution_deg\":0.275490468843068,\"share\":0.049058021545999}]"}');
CREATE TABLE club (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, label TEXT NOT NULL,
            loft_deg REAL NOT NULL, handed TEXT NOT NULL, score_line_length_mm REAL, score_line_pitch_mm REAL,
            score_line_width_mm REAL, lie_deg REAL, length_in REAL, head TEXT, bend_limit_deg REAL, bent_deg REAL NOT NULL,
            from_set INTEGER NOT NULL, UNIQUE (bag_id, label));
INSERT INTO "club" VALUES(1,1,'5',26.0,'right',NULL,NULL,NULL,61.0,38.0,'forged',NULL,0.0,1);
INSERT INTO "club" VALUES(2,1,'7',34.0,'right',NULL,NULL,NULL,62.5,37.0,'forged',NULL,0.5,1);
INSERT INTO "club" VALUES(3,1,'56',56.0,'right',NULL,NULL,NULL,64.0,35.25,'cast',NULL,0.0,0);
CREATE TABLE edit (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undoes INTEGER UNIQUE REFERENCES edit);
INSERT INTO "edit" VALUES(1,'2026-11-28T11:29:36.515+00:00','golfer added',NULL);
INSERT INTO "edit" VALUES(2,'2026-11-28T11:29:36.535+00:00','bag added',NULL);
INSERT INTO "edit" VALUES(3,'2026-11-28T11:29:36.559+00:00','session added',NULL);
INSERT INTO "edit" VALUES(4,'2026-11-28T11:29:36.612+00:00','shot added, club 7',NULL);
INSERT INTO "edit" VALUES(5,'2026-11-28T11:29:36.634+00:00','shot added, club 7',NULL);
INSERT INTO "edit" VALUES(6,'2026-11-28T11:29:36.658+00:00','shot added, club 5',NULL);
INSERT INTO "edit" VALUES(7,'2026-11-28T11:29:36.686+00:00','shot added, club 5',NULL);
INSERT INTO "edit" VALUES(8,'2026-11-28T11:29:36.728+00:00','shot added, club 56',NULL);
INSERT INTO "edit" VALUES(9,'2026-11-28T11:29:36.751+00:00','shot added, club 56',NULL);
INSERT INTO "edit" VALUES(10,'2026-11-28T11:29:36.775+00:00','shot 2 corrected',NULL);
INSERT INTO "edit" VALUES(11,'2026-11-28T11:29:36.849+00:00','plan added',NULL);
INSERT INTO "edit" VALUES(12,'2026-11-28T11:29:36.871+00:00','bend added, club 7',NULL);
INSERT INTO "edit" VALUES(13,'2026-11-28T11:29:36.891+00:00','golfer 1 corrected',NULL);
INSERT INTO "edit" VALUES(14,'2026-11-28T11:29:36.915+00:00','shot 3 corrected',NULL);
INSERT INTO "edit" VALUES(15,'2026-11-28T11:29:36.935+00:00','undone: shot 3 corrected',14);
CREATE TABLE gauge (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT NOT NULL,
            gauge_lie_deg REAL NOT NULL);
INSERT INTO "gauge" VALUES(1,1,'2026-03-01',61.5);
INSERT INTO "gauge" VALUES(2,2,'2026-03-01',62.25);
INSERT INTO "gauge" VALUES(3,3,'2026-03-01',64.0);
INSERT INTO "gauge" VALUES(4,2,'2026-03-03',61.25);
CREATE TABLE golfer (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, handed TEXT NOT NULL, note TEXT NOT NULL);
INSERT INTO "golfer" VALUES(1,'Ansel Fairweather','right','likes a flat seven iron');
CREATE TABLE plan (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session, at TEXT NOT NULL,
            lines TEXT NOT NULL, note TEXT NOT NULL);
INSERT INTO "plan" VALUES(1,1,'2026-11-28T11:29:36.848+00:00','[{"club":"5","outcome":"hit more balls","bend_deg":0.0,"limit":"","helps":0.538461538461538,"within_one_after":0.533435592810782,"hands_lower_mm":3.063225229528788,"longer_in":0.137726627596614,"alternative":"hands 3 mm lower, or the club 0.1 in longer with the hands where they are","lie_now_deg":61.5,"lie_after_deg":61.5,"reason":"The 5 looks 0.4\u00b0 toe down, but may be anywhere from 3.0\u00b0 toe down to 2.2\u00b0 toe up: hit more balls before anybody bends it.","caution":""},{"club":"7","outcome":"hit more balls","bend_deg":0.0,"limit":"","helps":0.603967461110318,"within_one_after":0.539270868534419,"hands_lower_mm":5.886816295494596,"longer_in":0.263751179198496,"alternative":"hands 6 mm lower, or the club 0.3 in longer with the hands where they are","lie_now_deg":62.25,"lie_after_deg":62.25,"reason":"The 7 looks 0.8\u00b0 toe down, but may be anywhere from 3.5\u00b0 toe down to 1.5\u00b0 toe up: hit more balls before anybody bends it.","caution":""},{"club":"56","outcome":"hit more balls","bend_deg":0.0,"limit":"","helps":0.507492507492508,"within_one_after":0.402404366923163,"hands_lower_mm":1.636550530933418,"longer_in":0.071832274538543,"alternative":"hands 2 mm lower, or the club 0.1 in longer with the hands where they are","lie_now_deg":64.0,"lie_after_deg":64.0,"reason":"The 56 looks 0.2\u00b0 toe down, but may be anywhere from 4.0\u00b0 toe down to 3.5\u00b0 toe up: hit more balls before anybody bends it.","caution":"Cast heads crack without warning: small steps only, by somebody who bends this kind of head often."}]','before the bench');
CREATE TABLE session (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, day TEXT NOT NULL,
            place TEXT NOT NULL, retest_of INTEGER REFERENCES session, note TEXT NOT NULL, length_unit TEXT NOT NULL DEFAULT 'mm', carry_unit TEXT NOT NULL DEFAULT 'm', net_distance_mm REAL, setup_tilt_deg REAL, u_setup_tilt_deg REAL, opened TEXT);
INSERT INTO "session" VALUES(1,1,'2026-03-02','bay 3',NULL,'','in','m',5000.0,2.0,0.5,'2026-11-28T11:29:36.560');
CREATE TABLE setting (session_id INTEGER NOT NULL REFERENCES session ON DELETE CASCADE, name TEXT NOT NULL,
            value TEXT NOT NULL, PRIMARY KEY (session_id, name));
INSERT INTO "setting" VALUES(1,'rules','{"step_deg": 0.5}');
CREATE TABLE shot (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session,
            number INTEGER NOT NULL, club_id INTEGER NOT NULL REFERENCES club, at TEXT NOT NULL, photo TEXT,
            tilt_deg REAL, u_tilt_deg REAL, strike_toe_mm REAL, u_strike_toe_mm REAL, strike_up_mm REAL, u_strike_up_mm REAL,
            line_width_mm REAL, u_line_width_mm REAL, flags TEXT NOT NULL, lie_error_deg REAL, u_lie_error_deg REAL,
            heading_known INTEGER NOT NULL, start_deg REAL, u_start_deg REAL, counted INTEGER NOT NULL, why TEXT NOT NULL,
            note TEXT NOT NULL, mark_budget TEXT, lie_budget TEXT, UNIQUE (session_id, number));
INSERT INTO "shot" VALUES(1,1,1,2,'2026-11-28T11:29:36.612+00:00',NULL,1.5,0.4,-3.0,0.3,18.5,1.0,3.1,0.2,'patchy ink',3.30249183729582840296e-01,8.7404858979581490086e-01,1,6.87516354639099769308e-01,2.86437650543733324237e-01,1,'','','[{"component":"ink","contribution_deg":0.4}]','[{"component":"tilt of the print","value":1.5,"unit":"deg","u":0.4,"sensitivity":0.828959429785999,"contribution_deg":0.3315837719144,"share":0.143918088511302},{"component":"loft delivered","value":34.0,"unit":"deg","u":2.5,"sensitivity":0.024243940830434,"contribution_deg":0.060609852076086,"share":0.004808562832483},{"component":"face heading","value":0.99640051396971,"unit":"deg","u":1.41097214237085,"sensitivity":0.463092041600889,"contribution_deg":0.653409970052497,"share":0.558856569891487},{"component":"setup tilt of the ball''s line","value":2.0,"unit":"deg","u":0.5,"sensitivity":-0.687931448001276,"contribution_deg":0.343965724000638,"share":0.154867105773365},{"component":"turn of the ball''s line","value":0.0,"unit":"deg","u":0.7,"sensitivity":-0.463092041600889,"contribution_deg":0.324164429120622,"share":0.137549672991363}]');
INSERT INTO "shot" VALUES(2,1,2,2,'2026-11-28T11:29:36.634+00:00',NULL,3.25,0.4,6.0,0.3,18.5,1.0,3.1,0.2,'patchy ink',1.3195313104069243959e+00,1.398197352635600188e+00,0,NULL,NULL,0,'heavy strike','','[{"component":"ink","contribution_deg":0.4}]','[{"component":"tilt of the print","value":3.25,"unit":"deg","u":0.4,"sensitivity":0.829029327862249,"contribution_deg":0.3316117311449,"share":0.056250038060361},{"component":"loft delivered","value":34.0,"unit":"deg","u":2.5,"sensitivity":0.000640086942919,"contribution_deg":0.001600217357298,"share":0.000001309848306},{"component":"face heading (unknown)","value":0.0,"unit":"deg","u":2.75,"sensitivity":0.463076165819367,"contribution_deg":1.273459456003259,"share":0.829532286847664},{"component":"setup tilt of the ball''s line","value":2.0,"unit":"deg","u":0.5,"sensitivity":-0.687641120303591,"contribution_deg":0.343820560151796,"share":0.060468157566928},{"component":"turn of the ball''s line","value":0.0,"unit":"deg","u":0.7,"sensitivity":-0.463076165819367,"contribution_deg":0.324153316073557,"share":0.053748207676741}]');
INSERT INTO "shot" VALUES(3,1,3,1,'2026-11-28T11:29:36.658+00:00',NULL,-0.75,0.4,1.0,0.3,18.5,1.0,3.1,0.2,'patchy ink',-2.29047993280793926729e+00,1.24380289503774954518e+00,0,NULL,NULL,1,'','wet face','[{"component":"ink","contribution_deg":0.4}]','[{"component":"tilt of the print","value":-0.75,"unit":"deg","u":0.4,"sensitivity":0.899376380565304,"contribution_deg":0.359750552226122,"share":0.08365652333594},{"component":"loft delivered","value":26.0,"unit":"deg","u":2.5,"sensitivity":0.033212004539355,"contribution_deg":0.083030011348387,"share":0.004456224560329},{"component":"face heading (unknown)","value":0.0,"unit":"deg","u":2.75,"sensitivity":0.393557812632954,"contribution_deg":1.082283984740624,"share":0.757145485595144},{"component":"setup tilt of the ball''s line","value":2.0,"unit":"deg","u":0.5,"sensitivity":-0.808696672537628,"contribution_deg":0.404348336268814,"share":0.105683744962587},{"component":"turn of the ball''s line","value":0.0,"unit":"deg","u":0.7,"sensitivity":-0.393557812632954,"contribution_deg":0.275490468843068,"share":0.049058021545999}]');
INSERT INTO "shot" VALUES(4,1,4,1,'2026-11-28T11:29:36.686+00:00',NULL,2.0,0.4,0.5,0.3,18.5,1.0,3.1,0.2,'patchy ink',1.81798738139355015031e-01,1.24134974843009771028e+00,0,NULL,NULL,0,'second hit on the same spot','','[{"component":"ink","contribution_deg":0.4}]','[{"component":"tilt of the print","value":2.0,"unit":"deg","u":0.4,"sensitivity":0.898777080195151,"contribution_deg":0.35951083207806,"share":0.083875599893426},{"component":"loft delivered","value":26.0,"unit":"deg","u":2.5,"sensitivity":0.012197490097474,"contribution_deg":0.030493725243686,"share":0.000603437985164},{"component":"face heading (unknown)","value":0.0,"unit":"deg","u":2.75,"sensitivity":0.393608204785273,"contribution_deg":1.0824225631595,"share":0.760335646893878},{"component":"setup tilt of the ball''s line","value":2.0,"unit":"deg","u":0.5,"sensitivity":-0.808005573697578,"contribution_deg":0.404002786848789,"share":0.105920592321351},{"component":"turn of the ball''s line","value":0.0,"unit":"deg","u":0.7,"sensitivity":-0.393608204785273,"contribution_deg":0.275525743349691,"share":0.049264722906182}]');
INSERT INTO "shot" VALUES(5,1,5,3,'2026-11-28T11:29:36.719+00:00','e323f4fe6c36bd12ff9496f572308120f81e88c889da7cb21581cfe5281b185a.jpg',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'',NULL,NULL,0,NULL,NULL,0,'photo refused: The picture is only 16 x 12 pixels; half a megapixel is the least that shows a mark. What to do: fill the picture with the face, sole at the bottom, score lines in focus, or place the four corners by hand.','',NULL,NULL);
INSERT INTO "shot" VALUES(6,1,6,3,'2026-11-28T11:29:36.751+00:00',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'',NULL,NULL,0,NULL,NULL,0,'no lie reading','',NULL,NULL);
CREATE INDEX change_of_row ON change (kind, row_id);
CREATE INDEX change_of_edit ON change (edit_id);
CREATE INDEX gauge_of_club ON gauge (club_id);
CREATE INDEX session_of_bag ON session (bag_id);
CREATE INDEX shot_of_club ON shot (club_id);
CREATE INDEX shot_counted ON shot (session_id, counted);
CREATE INDEX shot_of_photo ON shot (photo);
CREATE INDEX plan_of_session ON plan (session_id);
CREATE INDEX bend_of_club ON bend (club_id);
CREATE TRIGGER session_opened AFTER INSERT ON session WHEN new.opened IS NULL
            BEGIN UPDATE session SET opened = strftime('%Y-%m-%dT%H:%M:%f', 'now') WHERE id = new.id; END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('edit',15);
INSERT INTO "sqlite_sequence" VALUES('golfer',1);
INSERT INTO "sqlite_sequence" VALUES('change',22);
INSERT INTO "sqlite_sequence" VALUES('bag',1);
INSERT INTO "sqlite_sequence" VALUES('club',3);
INSERT INTO "sqlite_sequence" VALUES('gauge',4);
INSERT INTO "sqlite_sequence" VALUES('session',1);
INSERT INTO "sqlite_sequence" VALUES('shot',6);
INSERT INTO "sqlite_sequence" VALUES('plan',1);
INSERT INTO "sqlite_sequence" VALUES('bend',1);
COMMIT;
