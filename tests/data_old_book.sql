-- A book as the first schema wrote it: two runs, one of them edited.
BEGIN TRANSACTION;
CREATE TABLE page (
            id INTEGER PRIMARY KEY, seal INTEGER NOT NULL, key TEXT NOT NULL,
            number INTEGER NOT NULL, revision INTEGER NOT NULL, written TEXT NOT NULL,
            "when" TEXT, track TEXT, car TEXT, condition TEXT, session TEXT, groove TEXT,
            left_front_rollout REAL, right_front_rollout REAL,
            left_rear_rollout REAL, right_rear_rollout REAL,
            left_front_weight REAL, right_front_weight REAL,
            left_rear_weight REAL, right_rear_weight REAL, weights_from TEXT,
            left_front_jack REAL, right_front_jack REAL, left_rear_jack REAL, right_rear_jack REAL,
            left_front_pressure REAL, right_front_pressure REAL,
            left_rear_pressure REAL, right_rear_pressure REAL,
            wheel TEXT, drifts_out TEXT, crabs TEXT, wheelspin TEXT, entry TEXT,
            best_lap REAL, typical_lap REAL, recommended_stagger REAL, optimum_stagger REAL,
            window_low REAL, window_high REAL, counts TEXT, note TEXT);
INSERT INTO "page" VALUES(1,1502513058,'11111111111111111111111111111111',1,1,'2026-05-02T20:20:00','2026-05-02T20:15:00','Ropewalk','Number 31','slick','heat 1',NULL,2.0955,2.12725,2.12725,2.19075,3.61195595159152571789e+03,3.29613221690803038653e+03,3.69202394066621491217e+03,3.42513064375058456792e+03,'scales',NULL,NULL,2.0,NULL,NULL,NULL,6.20528018490006579672e+04,NULL,'left','yes',NULL,NULL,NULL,17.84,NULL,0.05715,5.61339999999999963997e-02,0.0254,0.1016,NULL,'dust in turn 3');
INSERT INTO "page" VALUES(2,3824169704,'22222222222222222222222222222222',2,1,'2026-05-02T21:10:00','2026-05-02T21:05:00','Ropewalk','Number 31','slick','feature',NULL,2.0955,2.12725,2.12725,2.20345,3.61195595159152571789e+03,3.29613221690803038653e+03,3.69202394066621491217e+03,3.42513064375058456792e+03,'predicted',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,17.64,NULL,0.05715,5.61339999999999963997e-02,0.0254,0.1016,NULL,NULL);
INSERT INTO "page" VALUES(3,2771657677,'11111111111111111111111111111111',1,2,'2026-05-03T09:00:00','2026-05-02T20:15:00','Ropewalk','Number 31','slick','heat 1',NULL,2.0955,2.12725,2.12725,2.19075,3.61195595159152571789e+03,3.29613221690803038653e+03,3.69202394066621491217e+03,3.42513064375058456792e+03,'scales',NULL,NULL,2.0,NULL,NULL,NULL,6.20528018490006579672e+04,NULL,'left','yes',NULL,NULL,NULL,17.8,NULL,0.05715,5.61339999999999963997e-02,0.0254,0.1016,NULL,'dust in turn 3');
CREATE UNIQUE INDEX page_of_key ON page (key, revision);
CREATE UNIQUE INDEX page_of_number ON page (number, revision);
COMMIT;
