@echo off
rem Starts the bench page when somebody logs on, and a backup every evening.
rem Run it once; /delete /tn NAME takes either away again. Change the folders first.
schtasks /create /f /tn Witnessmark /sc onlogon /tr "witnessmark serve \"%USERPROFILE%\Witnessmark shop\""
schtasks /create /f /tn WitnessmarkBackup /sc daily /st 19:30 /tr "witnessmark backup \"%USERPROFILE%\Witnessmark shop\" D:\WitnessmarkBackup"
